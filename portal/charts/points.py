"""What a chart is drawn from: visits as points, triggers as lines, and the few questions asked of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from statistics import median
from typing import Literal, TypeVar

T = TypeVar("T")
State = Literal["normal", "below", "nonstandard", "untested", "unscored"]

# A gap wider than this many usual intervals is a missed visit, not a late one (common practice, no source).
GAP_FACTOR = 1.6


@dataclass(frozen=True)
class Point:
    """One visit. ``value`` is in the unit of the index, or None when the visit has no score.

    ``low`` and ``high`` bound a score that comes from abundance ranges. ``below`` is the verdict given at the
    time, never worked out anew by the drawing. ``standard`` is False for a visit whose effort was not the
    site's standard one. Raises ValueError for a figure that is not finite or for bounds
    that do not hold the value.
    """

    when: date
    value: float | None
    low: float | None = None
    high: float | None = None
    tested: bool = True
    below: bool = False
    standard: bool = True
    note: str = ""

    def __post_init__(self) -> None:
        figures = [f for f in (self.low, self.value, self.high) if f is not None]
        if not all(math.isfinite(f) for f in figures):
            raise ValueError(f"the visit of {self.when} has a figure that is not finite")
        if figures != sorted(figures):
            raise ValueError(f"the visit of {self.when} lies outside its own range")

    @property
    def state(self) -> State:
        """How the point is drawn; a visit that was not tested is never shown as below the trigger."""
        if self.value is None:
            return "unscored"
        if self.tested and self.below:
            return "below"
        if not self.standard:
            return "nonstandard"
        return "normal" if self.tested else "untested"


@dataclass(frozen=True)
class TriggerLine:
    """A trigger level and the days it was in force; ``valid_to`` None means until now.

    Raises ValueError for a level that is not finite or an end before the start.
    """

    level: float
    valid_from: date
    valid_to: date | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.level):
            raise ValueError("a trigger level must be a finite number")
        if self.valid_to is not None and self.valid_to < self.valid_from:
            raise ValueError("a trigger cannot end before it starts")

    def in_force(self, day: date) -> bool:
        """True on both the first and the last day."""
        return self.valid_from <= day and (self.valid_to is None or day <= self.valid_to)


def in_order(points: Iterable[Point]) -> list[Point]:
    """The visits by date; visits of one day keep the order they came in."""
    return sorted(points, key=lambda p: p.when)


def unbroken(visits: Sequence[T], day: Callable[[T], date]) -> list[list[T]]:
    """Visits in date order, cut wherever the gap is too wide to draw a line across."""
    steps = [(day(after) - day(before)).days for before, after in pairwise(visits)]
    limit = GAP_FACTOR * median(steps) if steps else math.inf
    cuts = [n for n, step in enumerate(steps, start=1) if step > limit]
    return [list(visits[start:end]) for start, end in pairwise([0, *cuts, len(visits)])]


def level_on(triggers: Sequence[TriggerLine], day: date) -> float | None:
    """The trigger level of that day, None when there was none; where two overlap, the later start rules."""
    ruling = [t for t in triggers if t.in_force(day)]
    return max(ruling, key=lambda t: t.valid_from).level if ruling else None


def without_seams(triggers: Iterable[TriggerLine]) -> list[TriggerLine]:
    """The triggers by their start, where one that was set again at the same level goes on as one line."""
    found: list[TriggerLine] = []
    for trigger in sorted(triggers, key=lambda t: t.valid_from):
        before = found[-1] if found else None
        if before and before.level == trigger.level and _meets(before, trigger):
            found[-1] = TriggerLine(trigger.level, before.valid_from, trigger.valid_to)
        else:
            found.append(trigger)
    return found


def _meets(before: TriggerLine, after: TriggerLine) -> bool:
    return before.valid_to is not None and (after.valid_from - before.valid_to).days == 1


def usual_interval(points: Sequence[Point]) -> float:
    """Median days between visits that follow each other; infinite for fewer than two visits."""
    steps = [(b.when - a.when).days for a, b in pairwise(points)]
    return median(steps) if steps else math.inf


def unbroken_runs(points: Sequence[Point]) -> list[list[Point]]:
    """Visits in date order, cut wherever a score is missing or the gap is too wide to draw a line across."""
    limit = GAP_FACTOR * usual_interval(points)
    runs: list[list[Point]] = []
    previous: Point | None = None
    for point in points:
        if point.value is not None:
            if previous is None or (point.when - previous.when).days > limit:
                runs.append([])
            runs[-1].append(point)
        previous = point if point.value is not None else None
    return runs
