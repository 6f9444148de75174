"""What a repeat visit after a low score would tell, from the site's own baseline scores.

The same sums as for a trigger level (`scoring.advice`), for one visit: a site that has truly fallen gives each
score lowered by the fall, a healthy one the scores it always gave.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from scoring.advice.judging import Question, draw_chances, judge_level
from scoring.advice.results import AdviceError, Estimate
from scoring.indices import METHODS


@dataclass(frozen=True)
class RepeatAdvice:
    """Chances (0 to 1) at one repeat visit, from `visits` baseline visits.

    `fall` is how far the score seen lay below the usual one (the median), in points. `shows` is the chance that
    a lasting fall of that size gives a low score again, `by_chance` the chance that a healthy site gives one.
    """

    visits: int
    fall: float
    shows: Estimate
    by_chance: Estimate


def advise_repeat(
    scores: Sequence[float], *, index: str, level: float, seen: float, seed: int = 1
) -> RepeatAdvice:
    """Return what a repeat would tell after the score `seen` at a site with these baseline scores.

    Both chances err on the cautious side, as those of a level do. Raises AdviceError without a baseline score.
    """
    if not scores:
        raise AdviceError("No baseline visit says what is usual here.")
    fall = max(0.0, float(median(scores)) - seen)
    draws = draw_chances(len(scores), seed)
    # One visit: the rate of false alarms is then the chance of one.
    question = Question(sorted(scores), METHODS[index].decimals, draws, 1.0, (fall,))
    told = judge_level(question, level)
    return RepeatAdvice(len(scores), fall, told.catches[0].next_visit, told.false_alarms_per_year)
