"""Grid references against the worked examples of the national mapping agencies."""

import pytest

from surveys.places.grids import BRITISH, IRISH, _transformer, to_degrees, to_grid
from surveys.places.locations import grid_reference, parse_location

# Ordnance Survey, "A guide to coordinate systems in Great Britain", Annex C, worked example: a point near
# Caister given on the Airy ellipsoid (OSGB36), not on WGS84. Seen as quoted in several independent test suites.
CAISTER_OSGB36 = (52.6575703056, 1.7179215833)
CAISTER_GRID = (651_409.903, 313_177.270)

# Ordnance Survey, "Transformations and OSGM15 user guide", Annexe A, worked example: Caister water tower in
# ETRS89 and, by the exact OSTN15 grid, on the National Grid. Seen as quoted in several independent test suites.
TOWER_ETRS89 = (52.658007833, 1.716073973)
TOWER_GRID = (651_409.804, 313_177.450)

# The accuracy that the Ordnance Survey states for the seven-parameter shift used instead of OSTN15, in metres.
SHIFT_ACCURACY = 5.0


def test_it_projects_the_ordnance_survey_example_to_the_millimetre() -> None:
    # The projection alone: the datum of the example is the grid's own.
    from pyproj import CRS, Transformer

    national = CRS.from_epsg(BRITISH.epsg)
    assert national.geodetic_crs is not None
    projection = Transformer.from_crs(national.geodetic_crs, national, always_xy=True)
    found = projection.transform(CAISTER_OSGB36[1], CAISTER_OSGB36[0])
    assert found == pytest.approx(CAISTER_GRID, abs=0.001)


def test_it_comes_within_the_stated_accuracy_of_the_exact_transformation() -> None:
    east, north = to_grid(BRITISH, *TOWER_ETRS89)
    off = ((east - TOWER_GRID[0]) ** 2 + (north - TOWER_GRID[1]) ** 2) ** 0.5
    assert off < SHIFT_ACCURACY
    # Without any shift of datum the point would lie more than 100 m away.
    plain = (651_307.003, 313_255.686)
    assert ((plain[0] - TOWER_GRID[0]) ** 2 + (plain[1] - TOWER_GRID[1]) ** 2) ** 0.5 > 100


def test_it_names_the_squares_of_the_ordnance_survey_example() -> None:
    # The guide prints TG 51409 13177 for the point; the shorter forms are the same, cut off.
    place = to_degrees(BRITISH, *CAISTER_GRID)
    assert grid_reference(*place, 10) == "TG 51409 13177"
    assert grid_reference(*place, 8) == "TG 5140 1317"
    assert grid_reference(*place, 6) == "TG 514 131"


@pytest.mark.parametrize(
    ("reference", "side"), [("TG 514 131", 100), ("TG 5140 1317", 10), ("TG 51409 13177", 1)]
)
def test_it_reads_the_ordnance_survey_example_back(reference: str, side: int) -> None:
    # "A six-figure reference is a square of 100 m, an eight-figure one of 10 m": Ordnance Survey, from memory.
    location = parse_location(reference)
    assert location.precision_m == side
    east, north = to_grid(BRITISH, location.latitude, location.longitude)
    assert abs(east - CAISTER_GRID[0]) <= side
    assert abs(north - CAISTER_GRID[1]) <= side


def test_it_agrees_with_a_well_known_irish_reference() -> None:
    # The Spire in O'Connell Street, Dublin: O 15904 34671 at 53 20 59 N, 6 15 37 W. Both from memory.
    east, north = to_grid(IRISH, 53.34981, -6.26031)
    assert (east, north) == pytest.approx((315_904, 234_671), abs=25)
    assert grid_reference(53.34981, -6.26031, 6) == "O 158 346"


def test_it_uses_the_shift_that_the_registry_names_for_each_grid() -> None:
    # EPSG:1314 and EPSG:1954, read from the registry that pyproj carries.
    from pyproj.transformer import Transformer

    for code, grid in ((1314, BRITISH), (1954, IRISH)):
        published = Transformer.from_pipeline(f"urn:ogc:def:coordinateOperation:EPSG::{code}")
        national = _transformer(grid)
        latitude, longitude = to_degrees(grid, 300_000, 300_000)
        geodetic = published.transform(latitude, longitude, direction="INVERSE")
        assert national.transform(longitude, latitude) == pytest.approx((300_000, 300_000), abs=0.001)
        assert project(grid.epsg, geodetic) == pytest.approx((300_000, 300_000), abs=0.001)


def project(epsg: int, place: tuple[float, float]) -> tuple[float, float]:
    from pyproj import CRS, Transformer

    national = CRS.from_epsg(epsg)
    assert national.geodetic_crs is not None
    found = Transformer.from_crs(national.geodetic_crs, national, always_xy=True).transform(place[1], place[0])
    return found[0], found[1]
