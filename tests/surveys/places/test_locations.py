"""Locations as volunteers type them. The checks against published figures are in tests/published."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from surveys.places.grids import BRITISH, IRISH, corner_of, grid_at, letters_of, to_degrees, to_grid
from surveys.places.locations import InvalidLocation, Location, grid_reference, parse_location


def metres_between(one: tuple[float, float], other: tuple[float, float]) -> float:
    north = (one[0] - other[0]) * 111_320
    east = (one[1] - other[1]) * 111_320 * math.cos(math.radians(one[0]))
    return math.hypot(north, east)


def point(text: str) -> tuple[float, float]:
    location = parse_location(text)
    return location.latitude, location.longitude


@pytest.mark.parametrize(
    "text",
    [
        "54.123, -2.345",
        "54.123 -2.345",
        "54.123,-2.345",
        "  54.123 ;  -2.345 ",
        "54.123, −2.345",
        "54.123N 2.345W",
        "54.123 n, 2.345 w",
        "N 54.123 W 2.345",
        "N54.123, W2.345",
        "2.345 W 54.123 N",
        "W 2.345, N 54.123",
        "54.123° N, 2.345° W",
        "54° 7.38' N 2° 20.7' W",
        "54°07'22.8\"N 2°20'42\"W",
        "54 07 22.8 N, 2 20 42 W",
        "54 07 22.8 -2 20 42",
        "54º 7′ 22.8″ N 2º 20′ 42″ W",
    ],
)
def test_it_reads_degrees_in_every_usual_shape(text: str) -> None:
    assert point(text) == pytest.approx((54.123, -2.345), abs=1e-9)


def test_it_reads_places_south_of_the_equator_and_east_of_greenwich() -> None:
    assert point("33.5 S, 18.25 E") == (-33.5, 18.25)
    assert point("-33.5, 18.25") == (-33.5, 18.25)


def test_it_keeps_the_sign_of_a_longitude_less_than_a_degree_west() -> None:
    assert point("51 30 0, -0 7 30") == pytest.approx((51.5, -0.125))


@pytest.mark.parametrize(
    ("text", "precision"),
    [("54.123, -2.345", 112), ("54.12345, -2.3", 11132), ("54.12345 -2.34567", 2), ("54 7 22 N 2 20 42 W", 31)],
)
def test_it_takes_the_precision_of_degrees_from_how_finely_they_were_written(text: str, precision: int) -> None:
    assert parse_location(text).precision_m == precision


@pytest.mark.parametrize(
    ("text", "precision"),
    [("SD 1 2", 10_000), ("SD 12 34", 1000), ("SD 123 456", 100), ("SD12345678", 10), ("sd 12345 67890", 1)],
)
def test_it_takes_the_precision_of_a_grid_reference_from_its_figures(text: str, precision: int) -> None:
    assert parse_location(text).precision_m == precision


def test_it_reads_the_middle_of_the_square_that_a_reference_names() -> None:
    east, north = to_grid(BRITISH, *point("SD 123 456"))
    assert (east, north) == pytest.approx((312_350, 445_650), abs=0.01)
    east, north = to_grid(IRISH, *point("O 159 346"))
    assert (east, north) == pytest.approx((315_950, 234_650), abs=0.01)


def test_it_reads_the_same_place_with_and_without_spaces_and_in_any_case() -> None:
    assert point("SD123456") == point("sd 123 456") == point(" Sd  123456 ") == point("SD 12 34 56")


def test_it_keeps_what_was_typed() -> None:
    assert parse_location("  sd 123 456 ").as_typed == "sd 123 456"
    assert parse_location("54.123, −2.345").as_typed == "54.123, −2.345"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "grid reference"),
        ("   ", "grid reference"),
        ("SD 123 45", "5 figures"),
        ("SD 123 456 789 012", "at most 10"),
        ("SD", "needs figures"),
        ("SI 123 456", "letter I"),
        ("I 123 456", "letter I"),
        ("SA 123 456", "not a square on land in Great Britain"),
        ("AA 123 456", "not a square on land in Great Britain"),
        ("E 123 456", "not a square on land in Ireland"),
        ("54.123", "no location we can read"),
        ("54.123 -2.345 7", "no location we can read"),
        ("at the bridge", "no location we can read"),
        ("54,123 -2,345", "with a point"),
        ("54.1, river", "no latitude or longitude"),
        ("54.1.2, -2.3", "no latitude or longitude"),
        ("54 61 0 N 2 0 0 W", "0 to 59"),
        ("54 7 60 N 2 0 0 W", "0 to 59"),
        ("54.1 N, -2.3 W", "not both"),
        ("54.1 N, 2.3 N", "one latitude"),
        ("54.1 E, 2.3 W", "one latitude"),
        ("54.1 N 2.3", "no location we can read"),
        ("0, 0", "Atlantic"),
        ("0.0 N 0.0 E", "Atlantic"),
        ("-102.5, 54.1", "swapped"),
        ("54.1, 182.5", "-180 to 180"),
        ("154.1, 182.5", "-180 to 180"),
        ("-2.345, 54.123", "swapped"),
        ("-6.26, 53.35", "swapped"),
    ],
)
def test_it_says_what_is_wrong_in_plain_words(text: str, says: str) -> None:
    with pytest.raises(InvalidLocation) as caught:
        parse_location(text)
    assert says in caught.value.message


def test_it_believes_a_place_far_away_when_the_letters_are_written_out() -> None:
    assert point("4.7 S, 55.5 E") == (-4.7, 55.5)
    with pytest.raises(InvalidLocation, match="swapped"):
        parse_location("-4.7, 55.5")


def test_it_reads_longitudes_beyond_ninety_without_mistaking_them_for_latitudes() -> None:
    assert point("60.5, 150.25") == (60.5, 150.25)


@pytest.mark.parametrize(
    ("name", "latitude", "longitude", "grid"),
    [
        ("the middle of Ireland", 53.35, -7.5, IRISH),
        ("the Ards peninsula", 54.5, -5.45, IRISH),
        ("Rathlin", 55.3, -6.2, IRISH),
        ("the Mull of Kintyre", 55.31, -5.78, BRITISH),
        ("the Mull of Oa, Islay", 55.58, -6.33, BRITISH),
        ("the Rhins of Galloway", 54.85, -5.15, BRITISH),
        ("the Isle of Man", 54.2, -4.5, BRITISH),
        ("Pembrokeshire", 51.9, -5.3, BRITISH),
        ("the Isles of Scilly", 49.91, -6.3, BRITISH),
        ("Shetland", 60.5, -1.2, BRITISH),
        ("Kent", 51.37, 1.44, BRITISH),
        ("Calais", 50.95, 1.85, None),
        ("Cherbourg", 49.64, -1.6, None),
        ("the open Atlantic west of Ireland", 53.0, -12.0, None),
        ("the Celtic Sea", 50.5, -8.5, None),
        ("the North Sea", 56.0, 4.0, None),
        ("the equator", 0.0, 10.0, None),
    ],
)
def test_it_knows_which_grid_is_used_where(name: str, latitude: float, longitude: float, grid: object) -> None:
    assert grid_at(latitude, longitude) is grid, name
    assert (grid_reference(latitude, longitude) is None) is (grid is None)


def test_it_cuts_a_reference_off_and_never_rounds_it_up() -> None:
    latitude, longitude = to_degrees(BRITISH, 312_349.99, 445_699.99)
    assert grid_reference(latitude, longitude, 6) == "SD 123 456"
    assert grid_reference(latitude, longitude, 8) == "SD 1234 4569"
    assert grid_reference(latitude, longitude, 10) == "SD 12349 45699"


def test_it_writes_irish_references_with_one_letter() -> None:
    assert grid_reference(*to_degrees(IRISH, 315_904.5, 234_671.5), 10) == "O 15904 34671"


@pytest.mark.parametrize("grid", [BRITISH, IRISH])
def test_it_finds_each_square_back_from_its_corner(grid: object) -> None:
    assert isinstance(grid, type(BRITISH))
    for letters in grid.land:
        east, north = corner_of(grid, letters)
        assert letters_of(grid, east // 100_000, north // 100_000) == letters
    assert len({corner_of(grid, letters) for letters in grid.land}) == len(grid.land)


squares = st.sampled_from(sorted(BRITISH.land) + sorted(IRISH.land))


@given(squares, st.sampled_from([2, 4, 6, 8, 10]), st.data())
def test_it_writes_back_the_reference_it_read(letters: str, figures: int, data: st.DataObject) -> None:
    half = figures // 2
    digits = st.integers(0, 10**half - 1).map(lambda number: f"{number:0{half}d}")
    reference = f"{letters} {data.draw(digits)} {data.draw(digits)}"
    latitude, longitude = point(reference)
    # Squares also cover sea and foreign coasts, where no reference is given.
    assume(grid_at(latitude, longitude) is (IRISH if len(letters) == 1 else BRITISH))
    assert grid_reference(latitude, longitude, figures) == reference


@given(st.floats(50, 58.5), st.floats(-10.5, 1.7))
def test_it_names_a_square_that_holds_the_place(latitude: float, longitude: float) -> None:
    reference = grid_reference(latitude, longitude, 8)
    assume(reference is not None)
    assert reference is not None
    assert metres_between((latitude, longitude), point(reference)) <= 7.2


@given(st.floats(-89.9, 89.9), st.floats(-179.9, 179.9))
def test_it_reads_the_decimal_degrees_it_is_given(latitude: float, longitude: float) -> None:
    north, east = "NS"[latitude < 0], "EW"[longitude < 0]
    assume((round(latitude, 6), round(longitude, 6)) != (0, 0))
    text = f"{abs(latitude):.6f} {north}, {abs(longitude):.6f} {east}"
    assert point(text) == pytest.approx((latitude, longitude), abs=1e-6)


@given(st.text(max_size=40))
def test_it_never_fails_other_than_with_a_message(text: str) -> None:
    location: Location | None
    message = ""
    try:
        location = parse_location(text)
    except InvalidLocation as problem:
        location, message = None, problem.message
    assert message if location is None else -90 <= location.latitude <= 90
    assert location is None or (abs(location.longitude) <= 180 and location.precision_m >= 1)
