"""What a site normally holds, and how often a trigger fires by chance alone.

Chances assume visits that could change places (no trend, no season left in) and are independent of each other.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# Common practice, no source: below this many visits a baseline is called provisional.
PROVISIONAL_BELOW = 8


@dataclass(frozen=True)
class Baseline:
    """The scores of a site's baseline visits in figures. `sd` (divisor n - 1) is None for a single visit."""

    n: int
    mean: float
    sd: float | None
    median: float
    lowest: float
    highest: float

    @property
    def is_provisional(self) -> bool:
        """True while there are too few visits to judge a score by."""
        return self.n < PROVISIONAL_BELOW


def describe(values: Sequence[float]) -> Baseline | None:
    """Return the baseline of the scores, None without any; raises ValueError for infinity or nan."""
    if not values:
        return None
    scores = np.asarray(values, dtype=float)
    if not np.isfinite(scores).all():
        raise ValueError("a baseline needs finite scores")
    sd = float(scores.std(ddof=1)) if len(scores) > 1 else None
    low, median, high = (float(end) for end in (scores.min(), np.median(scores), scores.max()))
    return Baseline(len(scores), float(scores.mean()), sd, median, low, high)


def is_below(score: float, level: float) -> bool:
    """True where a score fires a trigger: strictly below its level."""
    # A score at the level is as good as the group and the agency agreed on.
    return score < level


def chance_next_lowest(n: int) -> float:
    """Return the chance that the next visit is the lowest of all by chance, after n like ones: 1 / (n + 1)."""
    if n < 0:
        raise ValueError("a number of visits is 0 or more")
    return 1 / (n + 1)


def chance_below_normal(sds: float) -> float:
    """Return the chance that a normal score falls more than so many standard deviations below its mean."""
    return math.erfc(sds / math.sqrt(2)) / 2


def false_alarms_per_year(chance_per_visit: float, visits_per_year: float) -> float:
    """Return the expected number of false alarms at one site in a year."""
    return _checked(chance_per_visit) * visits_per_year


def chance_of_false_alarm(chance_per_visit: float, visits: int) -> float:
    """Return the chance of at least one false alarm in so many visits."""
    return 1 - (1 - _checked(chance_per_visit)) ** visits


def mean_visits_to_signal(fall_sds: float, limit_sds: float) -> float:
    """Return the mean number of visits until a score passes a limit so many standard deviations below the mean,
    once the mean has fallen by `fall_sds` of them (geometric law)."""
    return 1 / chance_below_normal(limit_sds - fall_sds)


def prediction_factor(n: int, confidence: float = 0.95) -> float:
    """Return k of the one-sided normal prediction limit for one more visit, mean - k sd: t sqrt(1 + 1/n).

    n is at least 2, confidence between 0.5 and 1; raises ValueError outside.
    """
    if n < 2 or not 0.5 <= confidence < 1:
        raise ValueError("a prediction limit needs two visits and a confidence from 0.5 to below 1")
    return student_quantile(confidence, n - 1) * math.sqrt(1 + 1 / n)


def student_quantile(chance: float, freedom: int) -> float:
    """Return the t that Student's distribution stays below with that chance (0.5 to below 1)."""
    low, high = 0.0, 1.0
    # Halving needs a start that holds the answer; few degrees of freedom have long tails.
    while student_chance(high, freedom) < chance:
        high *= 2
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if student_chance(middle, freedom) < chance else (low, middle)
    return (low + high) / 2


def student_chance(t: float, freedom: int) -> float:
    """Return the chance that Student's t stays below t >= 0, for whole degrees of freedom.

    Finite sums of Abramowitz and Stegun 1964, 26.7.3 and 26.7.4.
    """
    angle = math.atan2(t, math.sqrt(freedom))
    if freedom % 2:
        inner = angle + math.sin(angle) * math.cos(angle) * _cosine_sum(angle, freedom, odd=True)
        return 0.5 + (inner if freedom > 1 else angle) / math.pi
    return 0.5 + math.sin(angle) * _cosine_sum(angle, freedom, odd=False) / 2


def _cosine_sum(angle: float, freedom: int, *, odd: bool) -> float:
    total = term = 1.0
    for step in range(1, (freedom - 1) // 2 if odd else freedom // 2):
        ratio = 2 * step / (2 * step + 1) if odd else (2 * step - 1) / (2 * step)
        term *= ratio * math.cos(angle) ** 2
        total += term
    return total


def _checked(chance: float) -> float:
    if not 0 <= chance <= 1:
        raise ValueError("a chance lies between 0 and 1")
    return chance
