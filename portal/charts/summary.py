"""A chart in words: what a screen reader, a PDF reader or a search finds in place of the drawing."""

from __future__ import annotations

from collections.abc import Sequence

from portal.charts.points import Point, State, TriggerLine, level_on
from portal.charts.words import Words


def history_title(title: str, points: Sequence[Point], triggers: Sequence[TriggerLine], words: Words) -> str:
    """The caller's title, then the figures: visits, dates, extremes, trigger, how many below or untested."""
    if not points:
        return f"{title}. {words.empty}."
    parts = [
        _dates(points, words),
        *_spread(points, words),
        _trigger(points, triggers, words),
        *_counts(points, words),
    ]
    return f"{title}: {'; '.join(parts)}."


def _dates(points: Sequence[Point], words: Words) -> str:
    first, last = words.day(points[0].when), words.day(points[-1].when)
    template = words.one_visit if len(points) == 1 else words.visits
    return template.format(count=len(points), first=first, last=last)


def _spread(points: Sequence[Point], words: Words) -> list[str]:
    values = [p.value for p in points if p.value is not None]
    if not values:
        return []
    low, high, latest = (words.figure(v) for v in (min(values), max(values), values[-1]))
    return [words.spread.format(low=low, high=high, latest=latest)]


def _trigger(points: Sequence[Point], triggers: Sequence[TriggerLine], words: Words) -> str:
    level = level_on(triggers, points[-1].when)
    return words.no_trigger if level is None else words.trigger_now.format(level=words.figure(level))


def _counts(points: Sequence[Point], words: Words) -> list[str]:
    texts: list[tuple[State, str]] = [
        ("below", words.count_below),
        ("nonstandard", words.count_nonstandard),
        ("untested", words.count_untested),
        ("unscored", words.count_unscored),
    ]
    counted = [(text, sum(p.state == state for p in points)) for state, text in texts]
    return [text.format(count=count) for text, count in counted if count]
