"""Reading submissions: from plain data to a Submission, or to problems at their fields."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from surveys.models import Site
from surveys.rules import RULES
from surveys.submission import (
    InvalidSubmission,
    Problem,
    Submission,
    as_data,
    differences,
    parse_submission,
    submission_data,
    submission_of,
)
from tests.chance import tries
from tests.conftest import Cast
from tests.factories import data_for, submit


@pytest.fixture
def site() -> Site:
    """A site that needs no database."""
    return Site(name="Stepping stones")


def read(site: Site, **changes: Any) -> Submission:
    return parse_submission(data_for(site, **changes))


def problems(at: Site, /, **changes: Any) -> dict[str, Problem]:
    counts = {"counts": changes.pop("counts")} if "counts" in changes else {}
    with pytest.raises(InvalidSubmission) as refused:
        parse_submission(data_for(at, **counts) | changes)
    return {each.field: each for each in refused.value.problems}


def test_it_reads_values_as_typed(site: Site) -> None:
    submission = read(site, visited_on="2026-05-03", started_at="10:00")
    assert (submission.visited_on, submission.started_at) == (date(2026, 5, 3), time(10))
    assert submission.spots[0].seconds == Decimal(30)
    assert submission.counts[0].count == 14


def test_it_takes_values_that_are_no_text(site: Site) -> None:
    submission = read(
        site,
        visited_on=date(2026, 5, 3),
        started_at=time(9, 30),
        measurements={"ph": {"value": 7.4}},
        counts=[{"taxon": "Baetidae", "count": 12}, {"taxon": "Elmidae", "count": 3.0}],
    )
    assert submission.visited_on == date(2026, 5, 3)
    assert [entry.count for entry in submission.counts] == [12, 3]
    assert submission.measurements[0].value == Decimal("7.4")


@pytest.mark.parametrize("typed", ["7.4", "7,4", " 7.4 ", "7.40"])
def test_it_reads_decimal_points_and_commas(site: Site, typed: str) -> None:
    reading = read(site, measurements={"ph": {"value": typed}}).measurements[0]
    assert reading.value == Decimal("7.4")
    assert reading.as_typed == typed.strip()


def test_it_keeps_times_to_the_minute(site: Site) -> None:
    assert read(site, started_at="10:05:59.5").started_at == time(10, 5)


def test_it_reads_a_true_minus_sign(site: Site) -> None:
    assert read(site, measurements={"temperature": {"value": "−0.5"}}).measurements[0].value == Decimal("-0.5")


def test_it_does_not_guess_at_a_thousands_comma(site: Site) -> None:
    found = problems(site, measurements={"conductivity": {"value": "1,200"}})
    assert "two ways" in found["measurements.conductivity"].message
    assert read(site, measurements={"phosphate": {"value": "0,125"}}).measurements[0].value == Decimal("0.125")


@pytest.mark.parametrize(("typed", "limit"), [("<0.05", "0.05"), ("< 0,05", "0.05")])
def test_it_keeps_below_the_limit_apart_from_a_reading(site: Site, typed: str, limit: str) -> None:
    reading = read(site, measurements={"phosphate": {"value": typed, "unit": "mg/L P"}}).measurements[0]
    assert (reading.value, reading.is_below_limit) == (Decimal(limit), True)
    assert (reading.as_typed, reading.unit) == (typed, "mg/L P")


@pytest.mark.parametrize(
    ("key", "typed"), [("ph", "<7"), ("phosphate", "<0"), ("phosphate", "<"), ("ph", ">9")]
)
def test_it_refuses_a_limit_that_makes_no_sense(site: Site, key: str, typed: str) -> None:
    assert problems(site, measurements={key: {"value": typed}})[f"measurements.{key}"].rule == "unreadable"


@pytest.mark.parametrize(
    ("key", "typed", "unit"),
    [
        ("phosphate", "", "mg/L PO4"),
        ("phosphate", "mg/l PO₄", "mg/L PO4"),
        ("phosphate", "mg/L-P", "mg/L P"),
        ("nitrate", "MG/L n", "mg/L N"),
        ("conductivity", "uS/cm", "µS/cm"),
        ("conductivity", "μS/cm", "µS/cm"),
        ("turbidity", "FNU", "FNU"),
    ],
)
def test_it_reads_the_ways_a_unit_is_written(site: Site, key: str, typed: str, unit: str) -> None:
    assert read(site, measurements={key: {"value": "1", "unit": typed}}).measurements[0].unit == unit


def test_it_names_the_units_it_knows(site: Site) -> None:
    found = problems(site, measurements={"nitrate": {"value": "5", "unit": "ppm"}})["measurements.nitrate"]
    assert found.rule == "unknown_unit"
    assert "mg/L NO3, mg/L N" in found.message


def test_it_reads_latin_english_and_finer_names(site: Site) -> None:
    counts = [
        {"taxon": "baetidae", "count": "1"},
        {"taxon": "Freshwater shrimp", "count": "2"},
        {"taxon": "Ephemera danica", "count": "3"},
        {"taxon": "Heptageniidae", "recorded_as": "Ecdyonurus sp.", "count": "4"},
    ]
    entries = read(site, counts=counts).counts
    assert [(entry.taxon, entry.recorded_as, entry.field) for entry in entries] == [
        ("Baetidae", "", "counts.Baetidae"),
        ("Gammaridae", "Freshwater shrimp", "counts.Freshwater shrimp"),
        ("Ephemeridae", "Ephemera danica", "counts.Ephemera danica"),
        ("Heptageniidae", "Ecdyonurus sp.", "counts.Ecdyonurus sp."),
    ]


def test_it_offers_close_names_for_an_unknown_one(site: Site) -> None:
    found = problems(site, counts={"Baetdae": 4, "Xyzzy": 1})
    assert found["counts.Baetdae"].rule == "unknown_taxon"
    assert "Did you mean Baetidae" in found["counts.Baetdae"].message
    assert "recording list" in found["counts.Xyzzy"].message


@pytest.mark.parametrize("text", ["10-99", "10–99", " 10 - 99 "])
def test_it_reads_a_range(site: Site, text: str) -> None:
    entry = read(site, counts=[{"taxon": "Baetidae", "range": text}]).counts[0]
    assert (entry.count, entry.low, entry.high) == (None, 10, 99)


@pytest.mark.parametrize("text", ["1000+", "1,000+"])
def test_it_reads_the_open_range(site: Site, text: str) -> None:
    entry = read(site, counts=[{"taxon": "Baetidae", "range": text}]).counts[0]
    assert (entry.low, entry.high) == (1000, None)


def test_it_keeps_the_count_of_the_two_that_agree(site: Site) -> None:
    entry = read(site, counts=[{"taxon": "Baetidae", "count": "12", "range": "10-99"}]).counts[0]
    assert (entry.count, entry.low) == (12, None)


@pytest.mark.parametrize(
    ("count", "limits", "says"),
    [("9", "10-99", "outside"), ("100", "10-99", "outside"), ("999", "1000+", "outside"), ("0", "1-9", "none")],
)
def test_it_refuses_a_count_at_odds_with_its_range(site: Site, count: str, limits: str, says: str) -> None:
    found = problems(site, counts=[{"taxon": "Baetidae", "count": count, "range": limits}])
    assert found["counts.Baetidae"].rule == "count_at_odds"
    assert says in found["counts.Baetidae"].message


@pytest.mark.parametrize("typed", ["-1", "1.5", "1,5", "many", "12 or so", "2000000", True])
def test_it_wants_whole_numbers_from_nought(site: Site, typed: Any) -> None:
    found = problems(site, counts=[{"taxon": "Baetidae", "count": typed}])
    assert found["counts.Baetidae"].rule == "unreadable"


def test_it_tells_nought_from_not_looked_for(site: Site) -> None:
    counts = [{"taxon": "Baetidae", "count": "0"}, {"taxon": "Elmidae", "count": ""}, {"taxon": "Leuctridae"}]
    assert [(entry.taxon, entry.count) for entry in read(site, counts=counts).counts] == [("Baetidae", 0)]


def test_it_leaves_out_rows_nobody_filled_in(site: Site) -> None:
    submission = read(
        site,
        spots=[{"number": 1, "kicks": "3", "seconds": "30"}, {"number": 2, "flow_type": "run", "kicks": ""}],
        measurements={"ph": {"value": " ", "unit": "pH"}},
    )
    assert [spot.number for spot in submission.spots] == [1]
    assert submission.measurements == ()


def test_it_wants_a_begun_spot_finished(site: Site) -> None:
    found = problems(site, spots=[{"number": 7, "kicks": "3", "seconds": ""}])
    assert found["spots.7.seconds"] == Problem("spots.7.seconds", "Fill this in.", "missing")


def test_what_is_no_number_is_answered_with_an_example_of_its_kind(site: Site) -> None:
    spot = {"number": 1, "kicks": "three", "seconds": "half a minute", "depth_cm": "knee"}
    found = problems(site, spots=[spot], measurements={"ph": {"value": "sour"}})
    told = {field: found[field].message for field in found}
    assert told["spots.1.kicks"] == "Write a whole number, such as 12."
    assert told["spots.1.seconds"] == told["spots.1.depth_cm"] == "Write this as a number, such as 30."
    assert told["measurements.ph"] == "Write this as a number, such as 7.4."


def test_it_names_spots_by_their_number(site: Site) -> None:
    rows = [{"number": 2, "kicks": "3", "seconds": "30"}, {"number": 1, "kicks": "x", "seconds": "30"}]
    assert set(problems(site, spots=rows)) == {"spots.1.kicks"}


def test_it_puts_spots_in_order(site: Site) -> None:
    rows = [{"number": n, "kicks": "3", "seconds": "30"} for n in (3, 1, 2)]
    assert [spot.number for spot in read(site, spots=rows).spots] == [1, 2, 3]


@pytest.mark.parametrize("field", ["id", "site", "visited_on"])
def test_it_always_needs_number_site_and_date(site: Site, field: str) -> None:
    assert problems(site, **{field: ""})[field].rule == "missing"


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("visited_on", "3 May", "year-month-day"),
        ("visited_on", "2026-02-30", "year-month-day"),
        ("started_at", "half past ten", "hours and minutes"),
        ("water_level", "wavy", "answers offered"),
        ("partner", "Sam", "Choose from the list"),
    ],
)
def test_it_says_in_plain_words_what_cannot_be_read(site: Site, field: str, value: str, says: str) -> None:
    found = problems(site, **{field: value})[field]
    assert says in found.message
    assert found.rule == "unreadable"


def test_it_reports_everything_at_once(site: Site) -> None:
    found = problems(
        site, visited_on="x", started_at="y", measurements={"ph": {"value": "z"}, "zeal": {"value": "1"}}
    )
    assert set(found) == {"visited_on", "started_at", "measurements.ph", "measurements.zeal"}


@pytest.mark.parametrize("data", [None, [], "text", 7, {}, {"spots": 1}, {"counts": [1]}, {"measurements": []}])
def test_it_refuses_what_is_no_submission(data: Any) -> None:
    with pytest.raises(InvalidSubmission) as refused:
        parse_submission(data)
    assert refused.value.problems


def test_it_uses_only_rules_that_are_explained(site: Site) -> None:
    known = {rule.id for rule in RULES}
    found = problems(site, id="", visited_on="x", counts={"Xyzzy": 1, "Baetidae": "x"})
    assert {each.rule for each in found.values()} <= known


def read_or_refusal(data: dict[str, Any]) -> tuple[Submission | None, tuple[Problem, ...]]:
    """The submission, or the problems that were named; any other error is a failure of the test."""
    try:
        return parse_submission(data), ()
    except InvalidSubmission as refused:
        return None, refused.problems


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
PARTS = ["id", "visited_on", "spots", "measurements", "counts", "was_made", "notes", "started_at", "partner"]


@settings(max_examples=tries(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(part=st.sampled_from(PARTS), value=JSON)
def test_it_never_falls_over_whatever_it_is_given(site: Site, part: str, value: Any) -> None:
    submission, refused = read_or_refusal(data_for(site) | {part: value})
    assert (submission is None) == bool(refused)
    if submission:
        assert parse_submission(as_data(submission)) == submission


ROW = st.fixed_dictionaries(
    {"taxon": JSON | st.just("Baetidae"), "count": JSON},
    optional={"range": JSON | st.just("1-9"), "number": JSON},
)


@settings(max_examples=tries(150), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(ROW, min_size=1, max_size=3), part=st.sampled_from(["spots", "counts"]))
def test_it_never_falls_over_whatever_the_rows_hold(site: Site, rows: list[Any], part: str) -> None:
    submission, refused = read_or_refusal(data_for(site) | {part: rows})
    assert (submission is None) == bool(refused)
    assert all(isinstance(each.field, str) and each.message for each in refused)


def test_it_gives_a_saved_visit_back_as_it_was_submitted(cast: Cast) -> None:
    changes: dict[str, Any] = {
        "partner": str(cast.other_volunteer.pk),
        "partner_name": "",
        "measurements": {"phosphate": {"value": "<0,05", "unit": "mg/L P"}, "ph": {"value": "7,9"}},
        "counts": [
            {"taxon": "Baetis rhodani", "count": "12"},
            {"taxon": "Elmidae", "range": "1000+"},
            {"taxon": "Asellidae", "count": "0"},
        ],
    }
    visit = submit(cast.person("volunteer"), cast.site, **changes)
    visit.refresh_from_db()
    data = submission_data(visit)
    assert parse_submission(data) == submission_of(visit)
    assert data["recorder"] == str(cast.volunteer.pk)
    assert data["measurements"]["phosphate"] == {"value": "<0,05", "unit": "mg/L P"}
    assert data["counts"] == [
        {"taxon": "Baetidae", "recorded_as": "Baetis rhodani", "count": "12"},
        {"taxon": "Elmidae", "recorded_as": "", "range": "1000+"},
        {"taxon": "Asellidae", "recorded_as": "", "count": "0"},
    ]
    assert data["spots"][0] == {
        "number": 1,
        "flow_type": "riffle",
        "kicks": 3,
        "seconds": "30",
        "depth_cm": "20",
    }


def test_it_finds_no_difference_between_equals(site: Site) -> None:
    submission = read(site)
    assert differences(submission, parse_submission(as_data(submission))) == {}


def test_it_names_what_differs_by_field(site: Site) -> None:
    before = read(site)
    spots = data_for(site)["spots"]
    spots[1] = spots[1] | {"seconds": "26", "depth_cm": ""}
    after = read(site, id=str(before.id), spots=spots[:2], water_level="", counts={"Baetis rhodani": 3})
    found = differences(before, after)
    assert found["spots.2.seconds"] == ["30", "26"]
    assert found["spots.2.depth_cm"] == ["20", None]
    assert found["spots.3.kicks"] == [3, None]
    assert found["water_level"] == ["normal", None]
    assert found["counts.Baetis rhodani"] == [None, "3"]
    assert found["counts.Baetis rhodani.taxon"] == [None, "Baetidae"]
    assert found["counts.Baetidae"] == ["40", None]
