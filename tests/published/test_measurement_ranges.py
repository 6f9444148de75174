"""Plausible ranges of readings against what they rest on, at their limits.

Sources: U.S. EPA 1997, Volunteer Stream Monitoring: A Methods Manual, EPA 841-B-97-003, section 5.9
(conductivity); the British standards under the Water Framework Directive (pH) and the Nitrates Directive
91/676/EEC (nitrate), both from memory. All other ranges are common practice, no source.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from surveys.measuring.quantities import NITRATE_PER_NITROGEN, PHOSPHATE_PER_PHOSPHORUS, QUANTITIES
from tests.surveys.rules.checking import errors, findings, rules_of

STEP = Decimal("0.1")
EPA = "EPA 841-B-97-003"
ERROR_RANGES = {
    "temperature": (-1, 40),
    "ph": (0, 14),
    "conductivity": (0, 60_000),
    "oxygen": (0, 25),
    "oxygen_saturation": (0, 250),
    "turbidity": (0, 4_000),
    "nitrate": (0, 500),
    "phosphate": (0, 50),
}
FINDING_RANGES = {
    "temperature": (0, 25),
    "ph": (6, 9),
    "conductivity": (50, 1_500),
    "oxygen_saturation": (60, 120),
    "turbidity": (0, 100),
    "nitrate": (0, 50),
    "phosphate": (0, 3),
}


def error_at(key: str, value: Decimal) -> str | None:
    return rules_of(errors(measurements={key: {"value": str(value)}})).get(f"measurements.{key}")


def finding_at(key: str, value: Decimal) -> str | None:
    return rules_of(findings(measurements={key: {"value": str(value)}})).get(f"measurements.{key}")


def test_it_has_a_range_for_every_quantity() -> None:
    assert set(ERROR_RANGES) == set(QUANTITIES)


@pytest.mark.parametrize("key", ERROR_RANGES)
def test_it_stops_what_is_impossible_and_nothing_at_the_limits(key: str) -> None:
    low, high = map(Decimal, ERROR_RANGES[key])
    assert error_at(key, low) is None
    assert error_at(key, high) is None
    assert error_at(key, low - STEP) == "impossible_reading"
    assert error_at(key, high + STEP) == "impossible_reading"


@pytest.mark.parametrize("key", FINDING_RANGES)
def test_it_finds_what_is_unusual_and_nothing_at_the_limits(key: str) -> None:
    low, high = map(Decimal, FINDING_RANGES[key])
    assert finding_at(key, low) is None
    assert finding_at(key, high) is None
    assert finding_at(key, high + STEP) == "unusual_reading"
    if low > ERROR_RANGES[key][0]:
        assert finding_at(key, low - STEP) == "unusual_reading"


def test_it_cites_the_manual_for_conductivity() -> None:
    assert EPA in str(QUANTITIES["conductivity"].source)
    assert "150 to 500" in str(QUANTITIES["conductivity"].source)


@pytest.mark.parametrize("key", ["ph", "nitrate"])
def test_it_says_where_a_range_is_from_memory(key: str) -> None:
    assert "From memory" in str(QUANTITIES[key].source)


@pytest.mark.parametrize("key", ["temperature", "oxygen", "oxygen_saturation", "turbidity", "phosphate"])
def test_it_says_where_no_source_stands_behind_a_range(key: str) -> None:
    assert "Common practice" in str(QUANTITIES[key].source)


# Standard atomic weights, rounded: N 14.007, O 15.999, P 30.974 (IUPAC, from memory).
def test_it_converts_nutrients_by_their_molar_masses() -> None:
    nitrogen, oxygen, phosphorus = Decimal("14.007"), Decimal("15.999"), Decimal("30.974")
    assert round((nitrogen + 3 * oxygen) / nitrogen, 3) == NITRATE_PER_NITROGEN
    assert round((phosphorus + 4 * oxygen) / phosphorus, 3) == PHOSPHATE_PER_PHOSPHORUS


def test_it_compares_nitrogen_as_nitrate() -> None:
    # 50 mg/L NO3 are 11.29 mg/L N.
    assert finding_with("11.29") is None
    assert finding_with("11.30") == "unusual_reading"


def finding_with(nitrogen: str) -> str | None:
    readings = {"nitrate": {"value": nitrogen, "unit": "mg/L N"}}
    return rules_of(findings(measurements=readings)).get("measurements.nitrate")
