"""Believable catches: which families live in which reach, in which season, and what stress does to them.

All figures are invented for the demonstration; they are no description of any river.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

REACHES = ("upland", "middle", "lowland")
RANGES = ((10, "1-9"), (100, "10-99"), (1000, "100-999"))


@dataclass(frozen=True)
class Family:
    """Mean animals in a sample of each reach, the month of the peak, and how pollution acts.

    `swing` is the part of the mean that the season moves (0 to 1). `sensitivity` 1 dies first, -1 thrives.
    """

    name: str
    means: tuple[float, float, float]
    peak: int = 5
    swing: float = 0.3
    sensitivity: float = 0.5


FAMILIES = (
    Family("Heptageniidae", (26, 7, 0.2), 4, 0.5, 1.0),
    Family("Baetidae", (60, 55, 30), 6, 0.4, 0.2),
    Family("Ephemerellidae", (12, 16, 4), 6, 0.8, 0.9),
    Family("Leptophlebiidae", (8, 3, 0.1), 3, 0.5, 1.0),
    Family("Caenidae", (1, 9, 14), 5, 0.4, 0.5),
    Family("Leuctridae", (22, 10, 0.3), 7, 0.6, 1.0),
    Family("Nemouridae", (14, 3, 0.2), 2, 0.6, 0.9),
    Family("Perlodidae", (7, 2, 0.05), 3, 0.6, 1.0),
    Family("Rhyacophilidae", (6, 4, 0.2), 5, 0.3, 0.8),
    Family("Hydropsychidae", (12, 18, 9), 8, 0.3, 0.4),
    Family("Sericostomatidae", (9, 5, 0.4), 4, 0.2, 0.9),
    Family("Limnephilidae", (7, 6, 3), 3, 0.5, 0.6),
    Family("Polycentropodidae", (3, 3, 2), 6, 0.3, 0.6),
    Family("Elmidae", (14, 22, 10), 7, 0.2, 0.5),
    Family("Simuliidae", (18, 16, 12), 5, 0.6, 0.3),
    Family("Tipulidae", (4, 3, 1.5), 3, 0.3, 0.3),
    Family("Chironomidae", (30, 42, 60), 6, 0.4, -0.7),
    Family("Gammaridae", (24, 55, 48), 9, 0.3, 0.5),
    Family("Asellidae", (0.1, 2.5, 22), 9, 0.3, -0.6),
    Family("Ancylidae", (5, 6, 2), 7, 0.3, 0.5),
    Family("Hydrobiidae", (0.6, 9, 18), 8, 0.3, 0.1),
    Family("Sphaeriidae", (0.6, 4, 12), 8, 0.2, -0.1),
    Family("Erpobdellidae", (0.2, 1.8, 6), 7, 0.2, -0.5),
    Family("Planariidae", (4, 2, 1.5), 4, 0.2, 0.5),
    Family("Calopterygidae", (0.02, 0.8, 4), 6, 0.4, 0.6),
    Family("Oligochaeta", (9, 14, 30), 4, 0.2, -0.9),
)


def catch(rng: np.random.Generator, reach: str, month: int, stress: float = 0.0) -> dict[str, int]:
    """Draw one sample: family to count, 0 where it was looked for and not found. `stress` runs from 0 to 1."""
    place = REACHES.index(reach)
    return {family.name: _draw(rng, _mean(family, place, month, stress)) for family in FAMILIES}


def _mean(family: Family, place: int, month: int, stress: float) -> float:
    season = 1 + family.swing * math.cos(2 * math.pi * (month - family.peak) / 12)
    return family.means[place] * season * math.exp(-7 * stress * family.sensitivity)


def _draw(rng: np.random.Generator, mean: float) -> int:
    # Animals live in patches: the spread of catches is wider than chance alone would make it.
    return int(rng.poisson(mean * rng.gamma(4.0, 0.25)))


def count_lines(counts: Mapping[str, int], *, in_ranges: bool) -> list[dict[str, str]]:
    """The counts as a submission has them; in ranges, numbers from 10 up are given as a range."""
    return [{"taxon": taxon, **_amount(number, in_ranges)} for taxon, number in counts.items()]


def _amount(number: int, in_ranges: bool) -> dict[str, str]:
    if not in_ranges or number < 10:
        return {"count": str(number)}
    return {"range": next((name for limit, name in RANGES if number < limit), "1000+")}
