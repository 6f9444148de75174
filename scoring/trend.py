"""Trend of a site's scores over years: seasonal Kendall test with Sen's slope.

Hirsch, Slack and Smith 1982, Water Resources Research 18: 107-121; slope and limits after Gilbert 1987,
Statistical Methods for Environmental Pollution Monitoring, chapters 16 and 17. Only values of the same season
are compared, so the year's own rise and fall is no trend.
"""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations
from statistics import NormalDist, median

from scoring.sentences import FALLING, NEVER_DIFFERED, NO_SEASON_TWICE, RISING

# The normal law serves for about ten values and more (Gilbert 1987, section 16.4.1).
FEW_VALUES = 10

# Year and season of a visit.
Season = Callable[[date], tuple[int, int]]
Series = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Trend:
    """Result of the test. `slope` is the change of the score per year, with its limits at `confidence`.

    `s` counts rises less falls over all `pairs` of years within a season, `tau` is their ratio. Without a pair,
    or with scores that are all alike, z, p and the slope's limits say nothing and `why_none` tells why.
    """

    values: int
    seasons: int
    pairs: int
    s: int
    tau: float | None = None
    z: float | None = None
    p: float | None = None
    slope: float | None = None
    low: float | None = None
    high: float | None = None
    confidence: float = 0.95
    why_none: str = ""

    @property
    def is_clear(self) -> bool:
        """True where chance alone gives such a trend in fewer than one of twenty cases (at 95 %)."""
        return self.p is not None and self.p < 1 - self.confidence

    @property
    def direction(self) -> str:
        """ "rising" or "falling" for a clear trend, else "none shown"."""
        if not self.is_clear:
            return "none shown"
        return RISING if self.s > 0 else FALLING

    @property
    def is_uncertain(self) -> bool:
        """True while there are too few values for p and limits to be taken at their word."""
        return self.values < FEW_VALUES


def by_month(day: date) -> tuple[int, int]:
    """The year, and the month as season, 1 to 12."""
    return day.year, day.month


def by_quarter(day: date) -> tuple[int, int]:
    """The year and winter 1, spring 2, summer 3 or autumn 4. December belongs to the winter that follows."""
    return day.year + (day.month == 12), day.month % 12 // 3 + 1


def by_year(day: date) -> tuple[int, int]:
    """One season only: the plain Mann-Kendall test of yearly medians."""
    return day.year, 1


def seasonal_kendall(
    scores: Sequence[tuple[date, float]], *, season: Season = by_month, confidence: float = 0.95
) -> Trend:
    """Return the trend of dated scores, in any order. Several of one season and year give their median.

    Raises ValueError for a score that is no number and a confidence that is not between 0 and 1.
    """
    if not all(math.isfinite(score) for _, score in scores):
        raise ValueError("a trend needs finite scores")
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")
    return _test(list(_by_season(scores, season).values()), confidence)


def _by_season(scores: Sequence[tuple[date, float]], season: Season) -> Mapping[int, Series]:
    cells: dict[tuple[int, int], list[float]] = {}
    for day, score in scores:
        cells.setdefault(season(day), []).append(score)
    found: dict[int, list[tuple[float, float]]] = {}
    for (year, name), values in sorted(cells.items()):
        found.setdefault(name, []).append((year, median(values)))
    return found


def _test(seasons: Sequence[Series], confidence: float) -> Trend:
    steps = [
        (late[1] - early[1], late[0] - early[0]) for one in seasons for early, late in combinations(one, 2)
    ]
    s = sum((rise > 0) - (rise < 0) for rise, _ in steps)
    found = Trend(sum(map(len, seasons)), len(seasons), len(steps), s, confidence=confidence)
    spread = math.sqrt(sum(map(_variance, seasons)))
    if not steps:
        return replace(found, why_none=NO_SEASON_TWICE)
    slopes = sorted(rise / years for rise, years in steps)
    if not spread:
        return replace(found, tau=0.0, slope=median(slopes), why_none=NEVER_DIFFERED)
    # One off towards 0, because S moves in steps (continuity correction).
    z = (s - (s > 0) + (s < 0)) / spread
    low, high = _limits(slopes, spread, confidence)
    p = math.erfc(abs(z) / math.sqrt(2))
    return replace(found, tau=s / len(steps), z=z, p=p, slope=median(slopes), low=low, high=high)


def _variance(season: Series) -> float:
    n, ties = len(season), Counter(value for _, value in season).values()
    return (_term(n) - sum(map(_term, ties))) / 18


def _term(n: int) -> int:
    return n * (n - 1) * (2 * n + 5)


def _limits(slopes: Sequence[float], spread: float, confidence: float) -> tuple[float, float]:
    """Return the slopes at the ranks (N -+ z sd) / 2 of Gilbert 1987, section 17.3, rounded to whole ranks."""
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * spread
    low = max(round((len(slopes) - reach) / 2) - 1, 0)
    high = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    return slopes[low], slopes[high]
