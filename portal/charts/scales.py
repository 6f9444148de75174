"""From dates and figures to pixels, and the ticks between."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from portal.charts.words import Words

# Steps a reader counts in: days for a span of weeks, months beyond.
DAY_STEPS = (1, 2, 7, 14, 28)
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200)
SHORT_SPAN = 75


@dataclass(frozen=True)
class Frame:
    """The plot's box in pixels and the days and figures at its edges."""

    left: float
    top: float
    right: float
    bottom: float
    first: date
    last: date
    low: float
    high: float

    def x(self, day: date) -> float:
        """Pixels from the left of the drawing; days outside the frame are held at its edge."""
        share = (day - self.first).days / max(1, (self.last - self.first).days)
        return self.left + min(1.0, max(0.0, share)) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Pixels from the top of the drawing."""
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)

    def holds(self, day: date) -> bool:
        return self.first <= day <= self.last


def nice_step(span: float, count: int) -> float:
    """The step of 1, 2, 2.5 or 5 times a power of ten that cuts ``span`` into at most ``count`` parts."""
    raw = span / count
    power = 10.0 ** math.floor(math.log10(raw))
    return next(power * m for m in (1, 2, 2.5, 5, 10) if power * m >= raw * (1 - 1e-9))


def value_ticks(figures: Sequence[float], count: int) -> list[float]:
    """Even ticks that enclose the figures; from zero when they reach well down towards it."""
    low, high = (min(figures), max(figures)) if figures else (0.0, 1.0)
    if 0 <= low <= 0.75 * high:
        low = 0.0
    if high - low < 1e-9 * max(1.0, abs(high)):
        margin = max(1.0, abs(high) * 0.1)
        low, high = (max(0.0, low - margin) if low >= 0 else low - margin), high + margin
    step = nice_step(high - low, count)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    # A mark or a trigger on the base line would be hidden by it.
    if low and abs(first * step - low) < 1e-9 * step:
        first -= 1
    return [round(i * step, 12) for i in range(first, last + 1)]


def decimals(ticks: Sequence[float]) -> int:
    """The fewest decimals that write every tick in full (ticks are rounded to twelve)."""
    return next(n for n in range(13) if all(abs(round(t, n) - t) < 1e-9 for t in ticks))


def span_of(days: Iterable[date]) -> tuple[date, date]:
    """First and last day with room at both sides, so that no mark sits on the edge. Needs at least one day."""
    known = sorted(days)
    room = max(10, (known[-1] - known[0]).days // 40)
    return _shift(known[0], -room), _shift(known[-1], room)


def _shift(day: date, days: int) -> date:
    """The day moved, held inside what a date can say."""
    ordinal = min(date.max.toordinal(), max(date.min.toordinal(), day.toordinal() + days))
    return date.fromordinal(ordinal)


def date_ticks(first: date, last: date, count: int, words: Words) -> list[tuple[date, str]]:
    """Days with their labels, at most about ``count``: weeks in a short span, else whole months or years."""
    days = (last - first).days
    if days <= SHORT_SPAN:
        step = next((s for s in DAY_STEPS if days / s <= count), DAY_STEPS[-1])
        ticks = [first + timedelta(days=n) for n in range(step // 2, days + 1, step)]
        return [(t, f"{t.day} {words.months[t.month - 1]}") for t in ticks]
    step = next(
        (s for s in MONTH_STEPS if days / 30.44 / s <= (count if s < 12 else count * 1.8)), MONTH_STEPS[-1]
    )
    return [(t, _month_label(t, step, words)) for t in _month_starts(first, last, step)]


def _month_starts(first: date, last: date, step: int) -> list[date]:
    """First days of every ``step``-th month, counted from January of year 0 so that years align."""
    start = -(-(first.year * 12 + first.month - (first.day == 1)) // step) * step
    months = range(start, last.year * 12 + last.month, step)
    return [date(m // 12, m % 12 + 1, 1) for m in months if m // 12 >= 1]


def _month_label(day: date, step: int, words: Words) -> str:
    if step >= 12:
        return str(day.year)
    return f"{words.months[day.month - 1]} {day.year}"
