"""A control chart: a statistic of the visits in order of time between the limits of chance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal
from xml.etree.ElementTree import Element, SubElement

from portal.charts import marks
from portal.charts.marks import Key
from portal.charts.points import State, unbroken
from portal.charts.scales import Frame, date_ticks, span_of, value_ticks
from portal.charts.svg import Drawing, canvas, clean, finish, number, put, text_width
from portal.charts.words import Words, words_for

LEFT, RIGHT, TOP, AXIS = 46.0, 14.0, 34.0, 30.0
ControlState = Literal["within", "under", "over"]
MARKS: dict[ControlState, State] = {"within": "normal", "under": "below", "over": "untested"}


@dataclass(frozen=True)
class ControlPoint:
    """One visit: the plotted value with its lower and upper limit, all in the unit of the score.

    ``low`` and ``high`` bound a value that is itself an uncertain score.
    """

    when: date
    value: float
    lower: float
    upper: float
    low: float | None = None
    high: float | None = None

    @property
    def figures(self) -> list[float]:
        """All that the value axis must reach."""
        known = (self.value, self.lower, self.upper, self.low, self.high)
        return [figure for figure in known if figure is not None]


def control_state(point: ControlPoint) -> ControlState:
    """Whether the value lies strictly beyond one of its limits."""
    if point.value < point.lower:
        return "under"
    return "over" if point.value > point.upper else "within"


def draw_control(
    points: Iterable[ControlPoint],
    *,
    center: float,
    title: str,
    index_name: str,
    unit: str = "",
    width: int = 720,
    height: int = 260,
    lang: str = "en",
) -> Drawing:
    """The values of at least one visit with their limits and the usual level, ``center``."""
    words, shown = words_for(lang), sorted(points, key=lambda point: point.when)
    name = _title(title, shown, center, words)
    root = canvas(width, height, title=name, desc=words.how_to_read_control, lang=words.lang, kind="control")
    rows = marks.legend_rows(_keys(shown, words), width - 12)
    bottom = height - AXIS - marks.ROW * len(rows) - 4
    ticks = _ticks(shown, center, bottom)
    days = span_of(point.when for point in shown)
    frame = Frame(LEFT, TOP, width - RIGHT, bottom, *days, ticks[0], ticks[-1])
    marks.value_axis(root, frame, ticks, f"{index_name} ({unit})" if unit else index_name, words)
    marks.date_axis(root, frame, _date_ticks(frame, words))
    _lines(root, shown, center, frame)
    for point in shown:
        _visit(root, point, frame, marks.radius_for(len(shown)), words)
    marks.legend(root, rows, 6, bottom + AXIS)
    return finish(root)


def _title(title: str, shown: Sequence[ControlPoint], center: float, words: Words) -> str:
    first, last = words.day(shown[0].when), words.day(shown[-1].when)
    states = [control_state(point) for point in shown]
    told = words.control.format(count=len(shown), first=first, last=last, center=words.figure(center))
    signals = words.signals.format(under=states.count("under"), over=states.count("over"))
    return f"{title}: {told}; {signals}."


def _keys(shown: Sequence[ControlPoint], words: Words) -> list[Key]:
    """Only what is in the drawing is in its legend."""
    states = {control_state(point) for point in shown}
    known: tuple[ControlState, ...] = ("within", "under", "over")
    of_marks = [Key(MARKS[state], str(getattr(words, state))) for state in known if state in states]
    is_uncertain = any(marks.range_note(point.low, point.high, words) for point in shown)
    of_ranges = [Key("bounds", words.bounds)] if is_uncertain else []
    return [*of_marks, *of_ranges, Key("center", words.center), Key("limit", words.limits)]


def _ticks(shown: Sequence[ControlPoint], center: float, bottom: float) -> list[float]:
    figures = [center, *(one for point in shown for one in point.figures)]
    return value_ticks(figures, max(2, int(bottom - TOP) // 38))


def _date_ticks(frame: Frame, words: Words) -> list[tuple[date, str]]:
    room = max(1, int((frame.right - frame.left) // 82))
    ticks = date_ticks(frame.first, frame.last, room, words)
    return [(day, label) for day, label in ticks if frame.x(day) + text_width(label) / 2 <= frame.right + RIGHT]


def _lines(root: Element, shown: Sequence[ControlPoint], center: float, frame: Frame) -> None:
    y = frame.y(center)
    put(root, "line", "center", x1=frame.left, x2=frame.right, y1=y, y2=y)
    for name in ("lower", "upper"):
        _path(root, "limit", [(frame.x(point.when), frame.y(getattr(point, name))) for point in shown])
    for run in unbroken(shown, lambda point: point.when):
        _path(root, "line", [(frame.x(point.when), frame.y(point.value)) for point in run])


def _path(root: Element, style: str, places: Sequence[tuple[float, float]]) -> None:
    if len(places) > 1:
        put(root, "path", style, d="M" + "L".join(f"{number(x)} {number(y)}" for x, y in places))


def _visit(root: Element, point: ControlPoint, frame: Frame, r: float, words: Words) -> None:
    state = control_state(point)
    group = SubElement(root, "g")
    aside = marks.range_note(point.low, point.high, words)
    told = f"{words.day(point.when)}: {words.figure(point.value)}, {getattr(words, state)}"
    SubElement(group, "title").text = clean(f"{told} ({aside})" if aside else told)
    x = frame.x(point.when)
    marks.whisker(group, (point.low, point.value, point.high), frame, x, r)
    marks.mark(group, MARKS[state], x, frame.y(point.value), r)
