"""Conditions and readings of a day at an invented river, with the season in them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surveys.models.visits import Clarity, NotMade, WaterLevel, Weather

REASONS = (NotMade.NO_PARTNER, NotMade.ILLNESS, NotMade.WEATHER, NotMade.NO_ACCESS)


@dataclass(frozen=True)
class Chances:
    """How often, as a share of all visits, something does not go by plan."""

    gap: float = 0.015
    not_made: float = 0.09
    off_effort: float = 0.035
    spate: float = 0.03
    odd_reading: float = 0.06


def is_winter(month: int) -> bool:
    """Months in which rivers here run high."""
    return month in (11, 12, 1, 2)


def why_not_made(rng: np.random.Generator, month: int) -> str:
    """The reason a visit could not be made; in winter mostly the river itself."""
    if rng.random() < (0.75 if is_winter(month) else 0.3):
        return NotMade.TOO_HIGH.value
    return REASONS[int(rng.integers(len(REASONS)))].value


def conditions(rng: np.random.Generator, month: int, *, spate: bool) -> dict[str, str]:
    """Level, clarity and weather as a submission has them."""
    if spate:
        wet = {"water_level": WaterLevel.SPATE.value, "clarity": Clarity.CLOUDY.value}
        return {**wet, "weather": Weather.SHOWERS.value, "weather_past_week": Weather.HEAVY_RAIN.value}
    levels = (WaterLevel.NORMAL, WaterLevel.HIGH) if is_winter(month) else (WaterLevel.LOW, WaterLevel.NORMAL)
    return {
        "water_level": _one_of(rng, *levels),
        "clarity": _one_of(rng, Clarity.CLEAR, Clarity.CLEAR, Clarity.TINTED),
        "weather": _one_of(rng, Weather.DRY, Weather.DRY, Weather.SHOWERS),
        "weather_past_week": _one_of(rng, Weather.DRY, Weather.SHOWERS, Weather.RAIN),
    }


def readings(rng: np.random.Generator, month: int, *, stress: float, odd: bool) -> dict[str, dict[str, str]]:
    """Measurements with their units; `odd` makes one that a coordinator should look at."""
    celsius = 9.5 - 6.0 * math.cos(2 * math.pi * (month - 1) / 12) + rng.normal(0, 0.8)
    # Full saturation by a straight line, near enough between 3 and 17 °C.
    full = 14.2 - 0.27 * celsius
    oxygen = full * (0.97 - 0.28 * stress + rng.normal(0, 0.02))
    phosphate = 0.04 + 0.9 * stress + rng.gamma(2, 0.02)
    return {
        "temperature": {"value": f"{max(celsius, 0.5):.1f}"},
        "ph": {"value": "9.3" if odd else f"{7.6 + rng.normal(0, 0.15):.1f}"},
        "conductivity": {"value": f"{240 + 420 * stress + rng.normal(0, 25):.0f}"},
        "oxygen": {"value": f"{oxygen:.1f}"},
        "phosphate": {"value": "<0.05" if phosphate < 0.05 else f"{phosphate:.2f}", "unit": "mg/L PO4"},
        "nitrate": {"value": f"{8 + 10 * stress + rng.gamma(3, 1.2):.1f}", "unit": "mg/L NO3"},
    }


def _one_of(rng: np.random.Generator, *choices: str) -> str:
    return str(choices[int(rng.integers(len(choices)))])
