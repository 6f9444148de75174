"""Oxygen at saturation in fresh water at sea level.

Table by Benson and Krause 1984, Limnology and Oceanography 29(3): 620-632, as printed to two decimals in tables
for water work (Standard Methods 4500-O); values from memory, computed anew.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from surveys.measuring.oxygen import saturated_oxygen, saturation_percent

TABLE = {0: 14.62, 5: 12.77, 10: 11.29, 15: 10.08, 20: 9.09, 25: 8.26, 30: 7.56}


@pytest.mark.parametrize("celsius", TABLE)
def test_it_gives_the_tables_value(celsius: int) -> None:
    assert round(saturated_oxygen(celsius), 2) == TABLE[celsius]


def test_it_falls_as_water_warms() -> None:
    values = [saturated_oxygen(celsius) for celsius in range(-1, 41)]
    assert values == sorted(values, reverse=True)


@pytest.mark.parametrize("celsius", TABLE)
def test_it_gives_a_hundred_percent_at_saturation(celsius: int) -> None:
    percent = saturation_percent(Decimal(str(TABLE[celsius])), Decimal(celsius))
    assert percent == pytest.approx(100, abs=0.1)


def test_it_gives_nought_without_oxygen() -> None:
    assert saturation_percent(Decimal(0), Decimal(10)) == 0
