"""Catches of many visits at once: the invented families of the demonstration, twenty of them at each reach."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from portal.demo.fauna import FAMILIES, REACHES
from scoring.vectorised import score_matrix

TAXA_PER_VISIT = 20
# What bad water is to a catch, as in the demonstration.
BAD_WATER = 0.78
NAMES = [each.name for each in FAMILIES]
Counts = npt.NDArray[np.int64]
_MEANS = np.array([each.means for each in FAMILIES]).T
_PEAKS = np.array([each.peak for each in FAMILIES])
_SWINGS = np.array([each.swing for each in FAMILIES])
_SENSITIVITIES = np.array([each.sensitivity for each in FAMILIES])
# So many standard deviations below the mean, a trigger hardly ever fires by chance.
FAR_BELOW = 5.5
SAMPLES = 600


@lru_cache
def sought(reach: int) -> tuple[int, ...]:
    """The families that are looked for at a reach (0 to 2), as places in `NAMES`: the most common ones."""
    order = np.argsort(-_MEANS[reach], kind="stable")[:TAXA_PER_VISIT]
    return tuple(sorted(int(each) for each in order))


@lru_cache
def _is_sought() -> npt.NDArray[np.bool_]:
    found = np.zeros((len(REACHES), len(NAMES)), dtype=bool)
    for reach in range(len(REACHES)):
        found[reach, list(sought(reach))] = True
    return found


def draw(
    rng: np.random.Generator,
    reaches: npt.NDArray[np.intp],
    months: npt.NDArray[np.intp],
    stress: npt.NDArray[np.float64],
) -> Counts:
    """Numbers of animals of shape (visits, families), 0 where none was found or the family was not looked for.

    `reaches` (0 to 2), `months` (1 to 12) and `stress` (0 to 1) have one entry for each visit.
    """
    season = 1 + _SWINGS * np.cos(2 * np.pi * (months[:, None] - _PEAKS) / 12)
    means = _MEANS[reaches] * season * np.exp(-7 * stress[:, None] * _SENSITIVITIES)
    # Animals live in patches: the spread of catches is wider than chance alone would make it.
    caught = rng.poisson(means * rng.gamma(4.0, 0.25, means.shape))
    return np.where(_is_sought()[reaches], caught, 0)


def usual_level(rng: np.random.Generator, reach: int) -> float:
    """An ASPT far below what is usual at a reach, for its triggers."""
    months = np.arange(SAMPLES) % 12 + 1
    counts = draw(rng, np.full(SAMPLES, reach), months, np.zeros(SAMPLES))
    usual = score_matrix(NAMES, counts)["aspt"]
    return float(np.floor(10 * (np.nanmean(usual) - FAR_BELOW * np.nanstd(usual)))) / 10
