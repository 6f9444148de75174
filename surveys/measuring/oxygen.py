"""Oxygen that fresh water holds in equilibrium with air."""

from __future__ import annotations

import math
from decimal import Decimal


def saturated_oxygen(celsius: float) -> float:
    """Dissolved oxygen at saturation, mg/L, in fresh water at sea-level pressure.

    Benson and Krause 1984, Limnology and Oceanography 29(3): 620-632, in the form of Standard Methods 4500-O;
    coefficients from memory, checked against the table of tests/published/test_oxygen_saturation.py.
    """
    # Pressure and salt are left out: the wide range of 60 to 120 % leaves room for both.
    kelvin = celsius + 273.15
    logarithm = (
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.243800e10 / kelvin**3
        - 8.621949e11 / kelvin**4
    )
    return math.exp(logarithm)


def saturation_percent(oxygen: Decimal, celsius: Decimal) -> float:
    """Oxygen in mg/L as a percentage of saturation at a water temperature in °C."""
    return 100 * float(oxygen) / saturated_oxygen(float(celsius))
