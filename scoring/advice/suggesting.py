"""The level for a wanted rate of false alarms."""

import math

from scoring.advice.judging import Question, cut, judge_level
from scoring.advice.results import LevelAdvice, Suggestion
from scoring.baseline import PROVISIONAL_BELOW, Baseline, prediction_factor


def suggest_level(question: Question, baseline: Baseline, wanted: float | None) -> Suggestion | None:
    """Return the suggestion for so many false alarms a year, None without a wish."""
    if wanted is None:
        return None
    chance = wanted / question.visits_per_year
    if baseline.is_provisional:
        return Suggestion(wanted, None, visits_needed(chance), None)
    return Suggestion(
        wanted, _highest(question, chance), visits_needed(chance), _normal_level(baseline, chance)
    )


def visits_needed(chance: float) -> int:
    """Return the baseline visits it takes to tell a level that fires by chance so rarely (per visit)."""
    # The lowest of n fires by chance at one visit in n + 1.
    return max(PROVISIONAL_BELOW, math.ceil(round(1 / chance - 1, 9)))


def _highest(question: Question, chance: float) -> LevelAdvice | None:
    # Rounded first: the noise of binary fractions must not cost a rank.
    rank = math.floor(round(chance * (len(question.values) + 1), 9))
    if not rank:
        return None
    score = question.values[min(rank, len(question.values)) - 1]
    return judge_level(question, cut(score, question.decimals))


def _normal_level(baseline: Baseline, chance: float) -> float | None:
    # Above one in two the limit would be an upper one.
    if chance > 0.5 or not baseline.sd:
        return None
    return baseline.mean - prediction_factor(baseline.n, 1 - chance) * baseline.sd
