"""Advice on a trigger level: how often it would fire by chance, and what falls it would catch.

Nothing is assumed of the scores' curve, only that the baseline visits and the next one could change places
(Hill's A_n, 1968, J. Am. Stat. Assoc. 63: 677-691): the n scores cut the scale into n + 1 gaps, and the next
score falls into each with the same chance. Intervals come from the Bayesian bootstrap over these gaps (Rubin
1981, Ann. Stat. 9: 130-134): seeded, and not fooled by a level that no baseline score lies below. A gap that
the level cuts counts as a false alarm, never as a catch, so that both figures err on the cautious side.
"""

import math
from collections import Counter
from collections.abc import Collection, Sequence
from datetime import date

from scoring.advice.cautions import cautions_of
from scoring.advice.judging import Question, cut, draw_chances, judge_level
from scoring.advice.results import Advice, AdviceError, Catch, Estimate, LevelAdvice, Suggestion
from scoring.advice.suggesting import suggest_level
from scoring.baseline import Baseline, chance_next_lowest, describe
from scoring.indices import METHODS
from scoring.sentences import ASSUMES

__all__ = [
    "ASSUMES",
    "Advice",
    "AdviceError",
    "Catch",
    "Estimate",
    "LevelAdvice",
    "Suggestion",
    "advise_trigger",
]

# Without a wish: falls by a quarter and by half of the usual score.
USUAL_FALLS = (0.25, 0.5)
MOST_LEVELS = 12
ALL_MONTHS = range(1, 13)


def advise_trigger(
    scores: Sequence[tuple[date, float]],
    *,
    index: str,
    visits_per_year: float,
    level: float | None = None,
    false_alarms_per_year: float | None = None,
    falls: Sequence[float] | None = None,
    season: Collection[int] | None = None,
    seed: int = 1,
) -> Advice:
    """Return the advice from the dated scores of baseline visits, in any order.

    `season` limits baseline and figures to visits of these months (1 to 12), `visits_per_year` then counts
    those only. `falls` are in points, by default a quarter and half of the median. Raises AdviceError for an
    index without a meaningful lower level, no scores, a score that is no number, and figures out of reach.
    """
    months = _months(season)
    chosen = [(day, score) for day, score in scores if day.month in months]
    # Sorted first: the last digit of a sum hangs on its order, and the order of visits must not matter.
    values = sorted(score for _, score in chosen)
    baseline = _baseline(index, values)
    _check_wish(visits_per_year, level, false_alarms_per_year, seed)
    sizes = _usual_falls(index, baseline) if falls is None else _checked_falls(falls)
    decimals = METHODS[index].decimals
    question = Question(values, decimals, draw_chances(len(values), seed), visits_per_year, sizes)
    asked = None if level is None else judge_level(question, level)
    return Advice(
        index=index,
        months=months,
        visits_per_year=visits_per_year,
        baseline=baseline,
        distribution=tuple(Counter(values).items()),
        levels=_candidates(question, asked),
        asked=asked,
        suggestion=suggest_level(question, baseline, false_alarms_per_year),
        rarest_per_year=chance_next_lowest(baseline.n) * visits_per_year,
        cautions=cautions_of(chosen, baseline, visits_per_year, false_alarms_per_year),
        seed=seed,
    )


def _months(season: Collection[int] | None) -> tuple[int, ...]:
    months = tuple(sorted(set(ALL_MONTHS if season is None else season)))
    if not months or not set(months) <= set(ALL_MONTHS):
        raise AdviceError("A season is made of months from 1 to 12.")
    return months


def _baseline(index: str, values: Sequence[float]) -> Baseline:
    if index not in METHODS:
        raise AdviceError(f"There is no index {index!r}; known are {', '.join(METHODS)}.")
    if METHODS[index].higher_is == "worse":
        # Triggers fire below a level; mirrored advice would be set upside down.
        raise AdviceError(f"{METHODS[index].name}: higher is worse, and a trigger fires below its level.")
    try:
        baseline = describe(values)
    except ValueError as error:
        raise AdviceError("A baseline needs finite scores.") from error
    if baseline is None:
        raise AdviceError("There is no score to advise from.")
    return baseline


def _check_wish(visits: float, level: float | None, wanted: float | None, seed: int) -> None:
    if not (math.isfinite(visits) and visits > 0):
        raise AdviceError("The visits per year are a number above 0.")
    if level is not None and not math.isfinite(level):
        raise AdviceError("The level is no number.")
    if wanted is not None and not 0 < wanted < visits:
        raise AdviceError("The false alarms per year lie above 0 and below the visits per year.")
    if seed < 0:
        raise AdviceError("The seed is a whole number from 0 up.")


def _usual_falls(index: str, baseline: Baseline) -> tuple[float, ...]:
    # A median at or below 0 has no quarter to lose: the spread serves instead.
    unit = baseline.median if baseline.median > 0 else baseline.highest - baseline.lowest
    falls = (round(share * unit, METHODS[index].decimals) for share in USUAL_FALLS)
    return tuple(fall for fall in falls if fall > 0)


def _checked_falls(falls: Sequence[float]) -> tuple[float, ...]:
    if not all(math.isfinite(fall) and fall > 0 for fall in falls):
        raise AdviceError("The size of a fall is a number of points above 0.")
    return tuple(falls)


def _candidates(question: Question, asked: LevelAdvice | None) -> tuple[LevelAdvice, ...]:
    """Judge scores of the lower half as printed, evenly thinned: nobody chooses between fifty levels."""
    lower_half = question.values[: (len(question.values) + 1) // 2]
    half = sorted({cut(score, question.decimals) for score in lower_half})
    step = -(-len(half) // MOST_LEVELS)
    levels = {level: judge_level(question, level) for level in half[::step]}
    if asked:
        levels[asked.level] = asked
    return tuple(levels[level] for level in sorted(levels))
