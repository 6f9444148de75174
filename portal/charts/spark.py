"""A chart the size of a word, for lists: the run of scores, the trigger, and the latest visit marked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.etree.ElementTree import Element

from portal.charts import marks
from portal.charts.points import Point, TriggerLine, in_order, level_on, unbroken_runs
from portal.charts.scales import Frame, span_of
from portal.charts.summary import history_title
from portal.charts.svg import Drawing, canvas, finish, number, put
from portal.charts.words import words_for

EDGE = 7.0


def sparkline(
    points: Iterable[Point],
    triggers: Iterable[TriggerLine] = (),
    *,
    title: str,
    width: int = 132,
    height: int = 36,
    lang: str = "en",
) -> Drawing:
    """The scores without axes, of ``width`` by ``height`` pixels; its name still says the figures in words."""
    words, shown, lines = words_for(lang), in_order(points), list(triggers)
    name = history_title(title, shown, lines, words)
    root = canvas(width, height, title=name, desc=words.how_to_read, lang=words.lang, kind="spark")
    scored = [p for p in shown if p.value is not None]
    if scored:
        level = level_on(lines, shown[-1].when)
        frame = _frame(shown, level, width, height)
        _draw(root, shown, level, frame)
        _marks(root, shown, scored[-1], frame)
    return finish(root)


def _frame(shown: Sequence[Point], level: float | None, width: int, height: int) -> Frame:
    figures = [p.value for p in shown if p.value is not None] + ([] if level is None else [level])
    low, high = min(figures), max(figures)
    margin = (high - low or 2.0) * 0.02
    first, last = span_of(p.when for p in shown)
    return Frame(EDGE, EDGE, width - EDGE, height - EDGE, first, last, low - margin, high + margin)


def _draw(root: Element, shown: Sequence[Point], level: float | None, frame: Frame) -> None:
    if level is not None:
        y = frame.y(level)
        put(root, "line", "trigger", x1=0, x2=frame.right + EDGE, y1=y, y2=y, stroke_width="1.25")
    for run in unbroken_runs(shown):
        places = [(frame.x(p.when), frame.y(p.value)) for p in run if p.value is not None]
        put(root, "path", "line", d="M" + "L".join(f"{number(x)} {number(y)}" for x, y in places))


def _marks(root: Element, shown: Sequence[Point], latest: Point, frame: Frame) -> None:
    """Every visit below the trigger and, whatever it says, the latest one."""
    for point in shown:
        if point.value is not None and (point.state == "below" or point is latest):
            marks.mark(root, point.state, frame.x(point.when), frame.y(point.value), 3)
