"""The shape of trigger advice, plain enough to be stored with the trigger that it led to."""

from dataclasses import dataclass

from scoring.baseline import Baseline


class AdviceError(ValueError):
    """Why no advice can be given on such a question, in a sentence."""


@dataclass(frozen=True)
class Estimate:
    """A figure with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Catch:
    """The chance (0 to 1) to see a lasting fall by `fall` points at the next visit, and within two visits."""

    fall: float
    next_visit: Estimate
    within_two: Estimate


@dataclass(frozen=True)
class LevelAdvice:
    """What a level does that fires strictly below it. `below` counts the baseline scores that would have fired.

    `is_beyond` marks a level with no score below it: its false alarms are then an upper bound, since so few
    visits cannot tell how rare such a score is.
    """

    level: float
    below: int
    false_alarms_per_year: Estimate
    chance_in_a_year: Estimate
    catches: tuple[Catch, ...]

    @property
    def is_beyond(self) -> bool:
        """True where no baseline score lies below the level."""
        return self.below == 0


@dataclass(frozen=True)
class Suggestion:
    """The highest level that fires by chance at most as often as wanted.

    `level` is None where the visits are too few to tell; `visits_needed` says how many it takes. `normal_level`
    is a second opinion that assumes a bell curve (prediction limit), None where it has no ground.
    """

    wanted_per_year: float
    level: LevelAdvice | None
    visits_needed: int
    normal_level: float | None


@dataclass(frozen=True)
class Advice:
    """All that a group and its agency contact need to choose a level.

    `distribution` pairs each score with its number of visits. `levels` has scores of the lower half and any
    level asked for, lowest first. `rarest_per_year` is the fewest false alarms that so many visits can tell.
    `cautions` are sentences to be shown with the figures.
    """

    index: str
    months: tuple[int, ...]
    visits_per_year: float
    baseline: Baseline
    distribution: tuple[tuple[float, int], ...]
    levels: tuple[LevelAdvice, ...]
    asked: LevelAdvice | None
    suggestion: Suggestion | None
    rarest_per_year: float
    cautions: tuple[str, ...]
    seed: int
