"""The table of quantities."""

from __future__ import annotations

from decimal import Decimal

import pytest

from surveys.measuring.quantities import QUANTITIES, Quantity


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=QUANTITIES)
def test_it_says_label_help_and_source(quantity: Quantity) -> None:
    assert all(str(text) for text in (quantity.label, quantity.help, quantity.source, quantity.unit))


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=QUANTITIES)
def test_it_finds_unusual_only_what_is_possible(quantity: Quantity) -> None:
    low, high = quantity.error_range
    assert low < high
    if quantity.finding_range:
        usual_low, usual_high = quantity.finding_range
        assert low <= usual_low < usual_high <= high


@pytest.mark.parametrize("quantity", QUANTITIES.values(), ids=QUANTITIES)
def test_it_knows_each_of_its_units_by_name(quantity: Quantity) -> None:
    assert [quantity.unit_named(unit) for unit in quantity.units] == list(quantity.units)
    assert quantity.unit_named("") == quantity.unit
    assert quantity.unit_named("furlongs") is None
    assert all(len(unit) <= 20 for unit in quantity.units)


@pytest.mark.parametrize(
    ("key", "value", "unit", "expected"),
    [
        ("nitrate", "10", "mg/L N", "44.27"),
        ("nitrate", "10", "mg/L NO3", "10"),
        ("phosphate", "1", "mg/L P", "3.066"),
        ("conductivity", "0.4", "mS/cm", "400"),
        ("ph", "7.4", "pH", "7.4"),
    ],
)
def test_it_converts_to_its_first_unit(key: str, value: str, unit: str, expected: str) -> None:
    assert QUANTITIES[key].in_first_unit(Decimal(value), unit) == Decimal(expected)


def test_it_cannot_be_changed_by_a_caller() -> None:
    with pytest.raises(TypeError):
        QUANTITIES["ph"] = QUANTITIES["nitrate"]  # type: ignore[index]
