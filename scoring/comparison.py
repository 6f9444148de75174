"""Before and after, upstream and downstream: the difference of scores with its limits.

Hodges-Lehmann estimates with limits from the exact laws of the rank sum and the signed rank (Hollander, Wolfe
and Chicken 2014, Nonparametric Statistical Methods, sections 3.2, 3.3, 4.2 and 4.3). No bell curve is assumed;
ties make the limits a little wider than need be.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, takewhile
from statistics import NormalDist, median

from scoring.sentences import TOO_FEW_FOR_LIMITS

# Beyond these sizes the normal law serves as well, and the exact one takes long.
MOST_EXACT_PAIRS = 60
MOST_EXACT_VALUES = 40

Pair = tuple[float, float]


@dataclass(frozen=True)
class Comparison:
    """How far the second set lies above the first, in units of the score (negative: it is lower).

    `low` and `high` hold the true difference with at least the chance `confidence`, which exact laws of small
    samples may overshoot. Without enough values for the wanted confidence they are None and `why_none` says so.
    """

    first: int
    second: int
    difference: float
    low: float | None = None
    high: float | None = None
    confidence: float | None = None
    why_none: str = ""

    @property
    def is_clear(self) -> bool:
        """True where the limits leave 0 out."""
        return self.low is not None and self.high is not None and not self.low <= 0 <= self.high

    @property
    def direction(self) -> str:
        """ "higher" or "lower" for a clear difference of the second set, else "none shown"."""
        if not self.is_clear:
            return "none shown"
        return "higher" if self.difference > 0 else "lower"


def compare_periods(before: Sequence[float], after: Sequence[float], *, confidence: float = 0.95) -> Comparison:
    """Return after less before: the median of all differences between one and the other.

    Raises ValueError for an empty period, a score that is no number, and a confidence not between 0 and 1.
    """
    _check(before, after, confidence=confidence)
    differences = sorted(late - early for early in before for late in after)
    rank, reached = _rank_sum_limits(len(before), len(after), confidence)
    return _comparison(differences, rank, reached, (len(before), len(after)))


def compare_pairs(pairs: Sequence[Pair], *, confidence: float = 0.95) -> Comparison:
    """Return second less first of pairs that belong together, such as upstream and downstream on one day.

    The estimate is the median of all means of two differences. Raises ValueError as `compare_periods` does.
    """
    gaps = [second - first for first, second in pairs]
    _check(gaps, confidence=confidence)
    means = sorted((gaps[one] + gaps[other]) / 2 for one in range(len(gaps)) for other in range(one + 1))
    rank, reached = _signed_rank_limits(len(gaps), confidence)
    return _comparison(means, rank, reached, (len(gaps), len(gaps)))


def compare_impact(before: Sequence[Pair], after: Sequence[Pair], *, confidence: float = 0.95) -> Comparison:
    """Return how much the gap of downstream to upstream changed between two periods of (upstream, downstream).

    What hits both sites alike, such as weather, drops out: the before-after-control-impact design.
    """
    gaps = [[second - first for first, second in pairs] for pairs in (before, after)]
    return compare_periods(gaps[0], gaps[1], confidence=confidence)


def _comparison(
    ordered: Sequence[float], rank: int, reached: float | None, sizes: tuple[int, int]
) -> Comparison:
    if reached is None:
        return Comparison(*sizes, median(ordered), why_none=TOO_FEW_FOR_LIMITS)
    return Comparison(*sizes, median(ordered), ordered[rank - 1], ordered[-rank], reached)


def _rank_sum_limits(m: int, n: int, confidence: float) -> tuple[int, float | None]:
    if max(m, n) > MOST_EXACT_VALUES:
        # Mean and spread of the Mann-Whitney count without ties: ties only narrow it.
        return _normal_rank(m * n / 2, math.sqrt(m * n * (m + n + 1) / 12), confidence)
    return _exact_rank(_rank_sum_ways(m, n), confidence)


def _signed_rank_limits(n: int, confidence: float) -> tuple[int, float | None]:
    if n > MOST_EXACT_PAIRS:
        return _normal_rank(n * (n + 1) / 4, math.sqrt(n * (n + 1) * (2 * n + 1) / 24), confidence)
    return _exact_rank(_signed_rank_ways(n), confidence)


def _exact_rank(ways: Sequence[int], confidence: float) -> tuple[int, float | None]:
    """Return the highest rank from either end whose limits reach the confidence, and what they reach."""
    total = sum(ways)
    # Limits at rank r leave out r - 1 values at either end.
    tails = list(takewhile(lambda tail: 2 * tail <= (1 - confidence) * total, accumulate(ways)))
    return len(tails), 1 - 2 * tails[-1] / total if tails else None


def _normal_rank(middle: float, sd: float, confidence: float) -> tuple[int, float | None]:
    reach = NormalDist().inv_cdf((1 + confidence) / 2) * sd
    return max(1, math.floor(middle - reach)), confidence


@lru_cache(maxsize=256)
def _signed_rank_ways(n: int) -> tuple[int, ...]:
    """Number of ways to each signed rank 0, 1, ...: subsets of 1 to n by their sum."""
    ways = [1] + [0] * (n * (n + 1) // 2)
    for rank in range(1, n + 1):
        for total in range(len(ways) - 1, rank - 1, -1):
            ways[total] += ways[total - rank]
    return tuple(ways)


@lru_cache(maxsize=256)
def _rank_sum_ways(m: int, n: int) -> tuple[int, ...]:
    """Number of ways to each Mann-Whitney count 0 to m n: coefficients of the Gaussian binomial."""
    ways = [1] + [0] * (m * n)
    for at in range(1, min(m, n) + 1):
        _times(ways, max(m, n) + at)
        _over(ways, at)
    return tuple(ways)


def _times(ways: list[int], power: int) -> None:
    for total in range(len(ways) - 1, power - 1, -1):
        ways[total] -= ways[total - power]


def _over(ways: list[int], power: int) -> None:
    for total in range(power, len(ways)):
        ways[total] += ways[total - power]


def _check(*sets: Iterable[float], confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")
    for values in map(list, sets):
        if not values:
            raise ValueError("a comparison needs at least one visit on each side")
        if not all(map(math.isfinite, values)):
            raise ValueError("a comparison needs finite scores")
