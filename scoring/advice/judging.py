"""What one level does: its false alarms and its catches, each with an interval from drawn gaps."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scoring.advice.results import Catch, Estimate, LevelAdvice
from scoring.baseline import is_below

DRAWS = 4_000
INTERVAL = (0.025, 0.975)

Draws = npt.NDArray[np.float64]
Figure = Callable[[Draws], Draws]


@dataclass(frozen=True)
class Question:
    """Baseline scores in order, with the drawn chances to lie below the first gaps between them.

    `decimals` are those that the index prints.
    """

    values: Sequence[float]
    decimals: int
    draws: Draws
    visits_per_year: float
    falls: tuple[float, ...]


def draw_chances(n: int, seed: int) -> Draws:
    """Return draws of the chance to lie below the first 0, 1, ... n + 1 gaps, of shape (draws, n + 2)."""
    gaps = np.random.default_rng(seed).dirichlet(np.ones(n + 1), DRAWS)
    return np.concatenate((np.zeros((DRAWS, 1)), np.cumsum(gaps, axis=1)), axis=1)


def cut(level: float, decimals: int) -> float:
    """Return the level with so many decimals, rounded down.

    Never up: a level of 6.86 would fire at the score of 6.857 it stands for.
    """
    # Rounded first, or the noise of binary fractions would cost a digit: 4.35 is 4.3499...
    scale = 10.0**decimals
    return math.floor(round(level * scale, 6)) / scale


def judge_level(question: Question, level: float) -> LevelAdvice:
    """Return what the level does, every figure with its interval."""
    # The gap that the level cuts is counted whole: no more false alarms than told.
    below = count_below(question.values, level)
    alarms = _estimate(question, below + 1, lambda chance: chance * question.visits_per_year)
    in_a_year = _estimate(question, below + 1, lambda chance: 1 - (1 - chance) ** question.visits_per_year)
    catches = tuple(_catch(question, level, fall) for fall in question.falls)
    return LevelAdvice(level, below, alarms, in_a_year, catches)


def _catch(question: Question, level: float, fall: float) -> Catch:
    """A score lowered by the fall lies below the level where it lay below level + fall before."""
    # Here the cut gap is left out: no fewer catches than told.
    gaps = count_below(question.values, level + fall)
    once = _estimate(question, gaps, lambda chance: chance)
    return Catch(fall, once, _estimate(question, gaps, lambda chance: 1 - (1 - chance) ** 2))


def count_below(values: Sequence[float], level: float) -> int:
    """Return how many scores would fire at the level."""
    return sum(is_below(value, level) for value in values)


def _estimate(question: Question, gaps: int, figure: Figure) -> Estimate:
    # Each of the n + 1 gaps has the same mean chance.
    share = np.array([gaps / (len(question.values) + 1)])
    low, high = np.quantile(figure(question.draws[:, gaps]), INTERVAL)
    return Estimate(float(figure(share)[0]), float(low), float(high))
