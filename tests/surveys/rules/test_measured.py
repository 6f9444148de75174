"""The rules on readings and counts, and the hints at slips of the keys."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from surveys.measuring.quantities import QUANTITIES
from surveys.rules.hints import likely_meant, usual_at_site
from tests.surveys.rules.checking import USUAL, errors, findings, rules_of, with_history


def read(key: str, value: str, unit: str = "") -> dict[str, Any]:
    """A visit with one reading."""
    return {"measurements": {key: {"value": value, "unit": unit}}}


@pytest.mark.parametrize(
    ("key", "typed", "meant"),
    [("ph", "74", "7.4"), ("temperature", "114", "11.4"), ("ph", "740", "7.4"), ("temperature", "51", "5.1")],
)
def test_it_asks_about_a_dropped_decimal_point(key: str, typed: str, meant: str) -> None:
    rule, message = errors(**read(key, typed))[f"measurements.{key}"]
    assert rule == "impossible_reading"
    assert message.endswith(f"Did you mean {meant}?")


def test_it_says_a_range_with_its_unit_but_never_ph_twice() -> None:
    assert "between 0 and 14." in errors(**read("ph", "74"))["measurements.ph"][1]
    assert (
        "between 0 and 60,000 µS/cm." in errors(**read("conductivity", "60001"))["measurements.conductivity"][1]
    )


def test_it_never_mends_silently() -> None:
    assert errors(**read("ph", "74")) != {}


def test_it_asks_nothing_where_no_slip_fits() -> None:
    assert "Did you mean" not in errors(**read("ph", "5555"))["measurements.ph"][1]


@pytest.mark.parametrize(
    ("value", "usual", "meant"),
    [
        ("21", ("10", "14"), "12"),
        ("74", ("6", "9"), "7.4"),
        ("0.79", ("6", "9"), "7.9"),
        ("5", ("90", "99"), None),
    ],
)
def test_it_knows_swapped_digits_and_lost_points(value: str, usual: tuple[str, str], meant: str | None) -> None:
    found = likely_meant(Decimal(value), (Decimal(usual[0]), Decimal(usual[1])))
    assert found == (Decimal(meant) if meant else None)


def test_it_converts_before_it_compares() -> None:
    """3.066 mg/L PO4 for each mg/L P: 0.97 P is under 3 PO4, 0.98 P is over it."""
    assert findings(**read("phosphate", "0.97", "mg/L P")) == {}
    assert rules_of(findings(**read("phosphate", "0.98", "mg/L P"))) == {
        "measurements.phosphate": "unusual_reading"
    }
    assert findings(**read("phosphate", "2.9", "mg/L PO4")) == {}


def test_it_says_the_reading_as_it_was_typed() -> None:
    assert findings(**read("ph", "9,5"))["measurements.ph"][1].startswith("9,5 is unusual")


def test_it_finds_nothing_in_a_reading_below_the_limit() -> None:
    assert findings(**read("phosphate", "<5")) == {}


def test_it_still_refuses_an_impossible_limit() -> None:
    assert rules_of(errors(**read("phosphate", "<51"))) == {"measurements.phosphate": "impossible_reading"}


def oxygen(mg: str, celsius: str = "10", percent: str = "") -> dict[str, Any]:
    readings = {
        "oxygen": {"value": mg},
        "temperature": {"value": celsius},
        "oxygen_saturation": {"value": percent},
    }
    return {"measurements": readings}


# Saturation at 10 °C is 11.29 mg/L, so that 60 % is 6.774 and 120 % is 13.548.
@pytest.mark.parametrize(
    ("mg", "is_finding"), [("6.76", True), ("6.79", False), ("11.29", False), ("13.53", False), ("13.57", True)]
)
def test_it_compares_oxygen_with_saturation(mg: str, is_finding: bool) -> None:
    found = findings(**oxygen(mg))
    assert rules_of(found) == ({"measurements.oxygen": "oxygen_unusual"} if is_finding else {})


def test_it_says_the_percentage() -> None:
    assert "that is 40 % of saturation" in findings(**oxygen("4.5"))["measurements.oxygen"][1]


def test_it_needs_the_temperature_for_saturation() -> None:
    assert findings(**read("oxygen", "1")) == {}


def test_it_does_not_compute_with_an_impossible_temperature() -> None:
    assert rules_of(errors(**oxygen("9", "-280"))) == {"measurements.temperature": "impossible_reading"}
    assert "measurements.oxygen" not in findings(**oxygen("9", "-280"))


@pytest.mark.parametrize(
    ("percent", "is_finding"), [("90.5", False), ("89.5", True), ("109.5", False), ("110.5", True)]
)
def test_it_finds_saturations_that_disagree(percent: str, is_finding: bool) -> None:
    found = rules_of(findings(**oxygen("11.29", "10", percent)))
    assert found == ({"measurements.oxygen_saturation": "saturation_disagrees"} if is_finding else {})


EIGHT = (11.0, 12.0, 12.5, 11.5, 12.0, 13.0, 11.0, 12.5)


def test_it_finds_a_jump_from_the_sites_history() -> None:
    history = with_history(readings={"temperature": EIGHT})
    rule, message = findings(history, **read("temperature", "21"))["measurements.temperature"]
    assert rule == "reading_jumps"
    assert "11 to 13 °C" in message
    assert message.endswith("Did you mean 12?")
    assert findings(history, **read("temperature", "14")) == {}


def test_it_names_what_is_usual_where_a_jump_happened_before() -> None:
    """ "Far from 11 to 22" is no reason for 21."""
    history = with_history(readings={"temperature": (*EIGHT[:7], 22.0)})
    _rule, message = findings(history, **read("temperature", "21"))["measurements.temperature"]
    assert message.startswith("21 is far from what is usual at this site, about 12 °C.")


def test_it_finds_no_jump_before_eight_readings() -> None:
    history = with_history(readings={"temperature": EIGHT[:7]})
    assert findings(history, **read("temperature", "21")) == {}


def test_it_compares_history_in_one_unit() -> None:
    history = with_history(readings={"phosphate": (0.28, 0.30, 0.31, 0.33, 0.35, 0.30, 0.29, 0.31)})
    assert findings(history, **read("phosphate", "0.1", "mg/L P")) == {}
    assert rules_of(findings(history, **read("phosphate", "0.3", "mg/L P"))) != {}


def test_it_allows_three_times_the_middle_halfs_spread() -> None:
    # Quartiles of 1..9 by the exclusive method are 2.5, 5 and 7.5: 5 give or take 15.
    assert usual_at_site(tuple(float(n) for n in range(1, 10))) == (Decimal("-10.0"), Decimal("20.0"))


def test_it_allows_a_little_where_readings_never_differed() -> None:
    low, high = usual_at_site((8.0,) * 9)
    assert low < 8 < high


def test_it_wants_something_counted() -> None:
    rule, message = errors(counts=[])["counts"]
    assert rule == "no_counts"
    assert "write 0" in message


def test_it_takes_an_empty_tray_that_is_stated() -> None:
    assert errors(counts={"Baetidae": 0}) == {}


def test_it_refuses_a_taxon_entered_twice() -> None:
    found = errors(counts=[{"taxon": "Baetidae", "count": "1"}, {"taxon": "BAETIDAE", "count": "2"}])
    assert rules_of(found) == {"counts.Baetidae": "taxon_twice"}


def test_it_takes_two_kinds_of_one_family() -> None:
    assert errors(counts={"Baetis rhodani": 1, "Baetis muticus": 2, "Baetidae": 3}) == {}


def test_it_doubts_ten_times_the_most_ever() -> None:
    history = with_history(approved_visits=5, most={"Baetidae": 40})
    assert findings(history, counts={"Baetidae": 400}) == {}
    assert rules_of(findings(history, counts={"Baetidae": 401})) == {"counts.Baetidae": "many"}


def test_it_goes_by_the_fewest_that_a_range_can_mean() -> None:
    history = with_history(approved_visits=5, most={"Baetidae": 12})
    assert findings(history, counts=[{"taxon": "Baetidae", "range": "100-999"}]) == {}
    assert findings(history, counts=[{"taxon": "Baetidae", "range": "1000+"}]) != {}


def test_it_greets_a_newcomer_once_it_knows_the_site() -> None:
    counts = {"Baetidae": 4, "Perlidae": 1, "Asellidae": 0}
    assert rules_of(findings(with_history(approved_visits=5, most={"Baetidae": 40}), counts=counts)) == {
        "counts.Perlidae": "new_here"
    }
    assert findings(with_history(approved_visits=4, most={"Baetidae": 40}), counts=counts) == {}


def test_it_counts_a_taxon_only_ever_absent_as_new() -> None:
    # The history leaves out what was only ever looked for (see the contexts).
    history = with_history(approved_visits=5, most={"Baetidae": 3})
    assert rules_of(findings(history, counts={"Perlidae": 1})) == {"counts.Perlidae": "new_here"}


def test_it_knows_a_taxon_that_was_only_ever_seen_and_not_counted() -> None:
    history = with_history(approved_visits=5, most={"Perlidae": 0})
    assert findings(history, counts={"Perlidae": 30}) == {}


def test_it_knows_every_quantity_by_its_key() -> None:
    assert all(key == quantity.key for key, quantity in QUANTITIES.items())
    assert findings(USUAL) == {}
