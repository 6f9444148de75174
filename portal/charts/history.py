"""The chart of a site: its scores over time against the trigger in force."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from xml.etree.ElementTree import Element

from portal.charts import marks
from portal.charts.labels import HEIGHT, Box, Place, Stroke, clearest
from portal.charts.marks import Key
from portal.charts.points import Point, TriggerLine, in_order, level_on, unbroken_runs, without_seams
from portal.charts.scales import Frame, date_ticks, span_of, value_ticks
from portal.charts.summary import history_title
from portal.charts.svg import Drawing, canvas, finish, number, put, text_width, write
from portal.charts.words import Words, words_for

LEFT, RIGHT, TOP, AXIS = 46.0, 14.0, 34.0, 30.0
SMALLEST = (200, 160)
LABEL_STEP = 12  # pixels between the places along its line that a trigger's label is tried at
LABELLED_AT_MOST = 5  # below-trigger visits whose figure is written beside them


@dataclass(frozen=True)
class HistoryRow:
    """A row of the table behind the chart: ``meaning`` is the state in words, ``trigger`` that day's level."""

    when: date
    value: float | None
    low: float | None
    high: float | None
    trigger: float | None
    meaning: str
    note: str


@dataclass(frozen=True)
class History:
    """What one chart shows, put in order once."""

    points: Sequence[Point]
    triggers: Sequence[TriggerLine]
    window: tuple[date, date] | None
    words: Words


def history_rows(
    points: Iterable[Point], triggers: Iterable[TriggerLine], *, lang: str = "en"
) -> list[HistoryRow]:
    """The visits in date order with the trigger of their day: the chart's figures, for a table beside it."""
    words, lines = words_for(lang), list(triggers)
    return [_row(p, level_on(lines, p.when), words) for p in in_order(points)]


def _row(point: Point, trigger: float | None, words: Words) -> HistoryRow:
    meaning = _meaning(point.state, trigger is not None, words)
    # A visit below the trigger keeps its shape whatever the effort was, so the words say the other.
    effort = words.nonstandard if not point.standard and point.state != "nonstandard" else ""
    note = "; ".join(part for part in (effort, point.note) if part)
    return HistoryRow(point.when, point.value, point.low, point.high, trigger, meaning, note)


def _meaning(state: str, triggered: bool, words: Words) -> str:
    if state == "normal" and not triggered:
        return words.no_trigger
    return str(getattr(words, state))


def draw_history(
    points: Iterable[Point],
    triggers: Iterable[TriggerLine],
    *,
    title: str,
    index_name: str,
    unit: str = "",
    emphasis: tuple[date, date] | None = None,
    width: int = 720,
    height: int = 280,
    lang: str = "en",
) -> Drawing:
    """The scores of one site and index as an accessible SVG of ``width`` by ``height`` pixels.

    ``title`` says whose scores these are; the figures are added to it. ``unit`` is written after the index
    name, ``emphasis`` shades the days from its first to its second date. Raises ValueError below 200 by 160
    pixels.
    """
    if width < SMALLEST[0] or height < SMALLEST[1]:
        raise ValueError("a history chart needs at least 200 by 160 pixels")
    words = words_for(lang)
    shown = History(in_order(points), list(triggers), emphasis, words)
    name = history_title(title, shown.points, shown.triggers, words)
    root = canvas(width, height, title=name, desc=words.how_to_read, lang=words.lang, kind="history")
    heading = f"{index_name} ({unit})" if unit else index_name
    _draw(root, shown, heading, width, height)
    return finish(root)


def _draw(root: Element, shown: History, heading: str, width: int, height: int) -> None:
    rows = marks.legend_rows(_keys(shown), width - 12)
    bottom = height - AXIS - marks.ROW * len(rows) - 4
    days = _days(shown)
    if not days:
        write(root, 4, 17, heading, "text-strong")
        write(root, width / 2, height / 2, shown.words.empty, "text", "middle")
        return
    ticks = value_ticks(_figures(shown, *span_of(days)), max(2, int(bottom - TOP) // 38))
    frame = Frame(LEFT, TOP, width - RIGHT, bottom, *span_of(days), ticks[0], ticks[-1])
    _window(root, shown, frame)
    marks.value_axis(root, frame, ticks, heading, shown.words)
    marks.date_axis(root, frame, _date_ticks(frame, shown.words))
    _trigger_lines(root, shown, frame)
    _lines(root, shown, frame)
    _visits(root, shown, frame)
    _trigger_labels(root, shown, frame)
    marks.legend(root, rows, 6, bottom + AXIS)


def _days(shown: History) -> list[date]:
    return [p.when for p in shown.points] + list(shown.window or ()) or [t.valid_from for t in shown.triggers]


def _date_ticks(frame: Frame, words: Words) -> list[tuple[date, str]]:
    room = int((frame.right - frame.left) // 82)
    ticks = date_ticks(frame.first, frame.last, max(1, room), words)
    return [(t, label) for t, label in ticks if frame.x(t) + text_width(label) / 2 <= frame.right + RIGHT]


def _figures(shown: History, first: date, last: date) -> list[float]:
    """Everything the value axis must reach, triggers only where they were in force within the days shown."""
    levels = [t.level for t in _visible(shown.triggers, first, last)]
    scores = [f for p in shown.points for f in (p.low, p.value, p.high) if f is not None]
    return scores + levels


def _visible(triggers: Sequence[TriggerLine], first: date, last: date) -> list[TriggerLine]:
    return [t for t in triggers if t.valid_from <= last and (t.valid_to is None or t.valid_to >= first)]


def _keys(shown: History) -> list[Key]:
    """Only what is in the drawing is in its legend."""
    words, states = shown.words, {p.state for p in shown.points}
    normal = words.normal if shown.triggers else words.normal_without_trigger
    wanted = [
        (bool(shown.triggers), Key("trigger", words.trigger)),
        ("normal" in states, Key("normal", normal)),
        ("below" in states, Key("below", words.below)),
        ("nonstandard" in states, Key("nonstandard", words.nonstandard)),
        ("untested" in states, Key("untested", words.untested)),
        ("unscored" in states, Key("unscored", words.unscored)),
        (any(p.low is not None or p.high is not None for p in shown.points), Key("bounds", words.bounds)),
        (shown.window is not None, Key("window", words.window)),
    ]
    return [key for present, key in wanted if present]


def _window(root: Element, shown: History, frame: Frame) -> None:
    if shown.window is None:
        return
    left, right = sorted(frame.x(day) for day in shown.window)
    box = {"x": left - 2, "width": right - left + 4, "y": frame.top, "height": frame.bottom - frame.top}
    put(root, "rect", "window", **box)


def _lines(root: Element, shown: History, frame: Frame) -> None:
    for places in _runs(shown, frame):
        if len(places) > 1:
            put(root, "path", "line", d="M" + "L".join(f"{number(x)} {number(y)}" for x, y in places))


def _runs(shown: History, frame: Frame) -> list[list[Place]]:
    """Where the line goes through, for each of its pieces."""
    return [
        [(frame.x(p.when), frame.y(p.value)) for p in run if p.value is not None]
        for run in unbroken_runs(shown.points)
    ]


def _trigger_lines(root: Element, shown: History, frame: Frame) -> None:
    for left, right, y, _label in _levels(shown, frame):
        put(root, "line", "trigger", x1=left, x2=right, y1=y, y2=y)


def _levels(shown: History, frame: Frame) -> list[tuple[float, float, float, str]]:
    """Left and right end of each trigger's line, its height, and what is written at it."""
    return [
        (
            frame.x(trigger.valid_from),
            frame.right if trigger.valid_to is None else frame.x(trigger.valid_to),
            frame.y(trigger.level),
            f"{shown.words.trigger} {shown.words.figure(trigger.level)}",
        )
        for trigger in without_seams(_visible(shown.triggers, frame.first, frame.last))
    ]


def _trigger_labels(root: Element, shown: History, frame: Frame) -> None:
    """Each beside its line, where nothing else is drawn; left out when longer than the line itself."""
    levels = _levels(shown, frame)
    strokes = [*_strokes(shown, frame), *(((left, y), (right, y)) for left, right, y, _label in levels)]
    taken = [*_marks_taken(shown, frame), *_figures_taken(shown, frame)]
    for left, right, y, label in levels:
        if spots := _label_spots(left, right, y, text_width(label), frame):
            box = clearest(spots, taken, strokes)
            taken.append(box)
            write(root, box[0], box[3] - 3, label, "text-trigger")


def _label_spots(left: float, right: float, y: float, wide: float, frame: Frame) -> list[Box]:
    """Under and above a trigger's line: at its near end, at its far end, then all along it."""
    room = right - left - wide - 8
    if room < 0:
        return []
    steps = [left + 5 + step for step in (0.0, room, *range(LABEL_STEP, int(room), LABEL_STEP))]
    tops = [y + 5] * (y + 18 < frame.bottom) + [y - 18] * (y - 18 > frame.top - 8 or y + 18 >= frame.bottom)
    return [(x, top, x + wide, top + HEIGHT) for top in tops for x in steps]


def _marks_taken(shown: History, frame: Frame) -> Iterator[Box]:
    """Each visit's mark with its range."""
    r = marks.radius_for(len(shown.points)) * 1.45
    for point in shown.points:
        x, known = frame.x(point.when), [f for f in (point.low, point.value, point.high) if f is not None]
        ys = [frame.y(figure) for figure in known] or [frame.bottom - r]
        yield x - r, min(ys) - r, x + r, max(ys) + r


def _figures_taken(shown: History, frame: Frame) -> Iterator[Box]:
    for x, y, text in _figures_placed(shown, frame):
        yield _figure_box(x, y, text_width(text, HEIGHT) / 2)


def _strokes(shown: History, frame: Frame) -> list[Stroke]:
    return [stroke for run in _runs(shown, frame) for stroke in pairwise(run)]


def _visits(root: Element, shown: History, frame: Frame) -> None:
    r = marks.radius_for(len(shown.points))
    for point in shown.points:
        marks.visit_mark(root, point, frame, r, shown.words)
    _figures_beside(root, shown, frame)


def _figures_beside(root: Element, shown: History, frame: Frame) -> None:
    for x, y, text in _figures_placed(shown, frame):
        write(root, x, y, text, "text-strong", "middle")


def _figures_placed(shown: History, frame: Frame) -> list[tuple[float, float, str]]:
    """Middle and baseline of each figure, where it hides least."""
    strokes = _strokes(shown, frame)
    taken, found = list(_marks_taken(shown, frame)), []
    for point in _told_points(shown):
        text = shown.words.figure(point.value or 0.0)
        half = text_width(text, HEIGHT) / 2
        spots = [_figure_box(x, y, half) for x, y in _figure_spots(point, frame)]
        box = clearest(spots, taken, strokes)
        taken.append(box)
        found.append(((box[0] + box[2]) / 2, box[3] - 2, text))
    return found


def _figure_box(x: float, y: float, half: float) -> Box:
    return x - half, y - HEIGHT + 2, x + half, y + 2


def _figure_spots(point: Point, frame: Frame) -> Iterator[Place]:
    """Where it belongs, then a little further from its mark as long as that is in the drawing."""
    x, y = _figure_place(point, frame)
    yield x, y
    steps = (6, 12, 18) if y > frame.y(point.value or 0.0) else (-6, -12, -18)
    for step in steps:
        if frame.top - 5 <= y + step <= frame.bottom - 4:
            yield x, y + step


def _told_points(shown: History) -> list[Point]:
    """The latest score and, while they are few, every visit below the trigger: their figures are written."""
    scored = [p for p in shown.points if p.value is not None]
    below = [p for p in scored if p.state == "below"]
    chosen = (below if len(below) <= LABELLED_AT_MOST else []) + scored[-1:]
    return list(dict.fromkeys(chosen))


def _figure_place(point: Point, frame: Frame) -> tuple[float, float]:
    """Under a visit below the trigger, else above the mark and its range, and always inside the drawing."""
    ends = [f for f in (point.low, point.value, point.high) if f is not None]
    x = min(frame.right - 10, frame.x(point.when))
    if point.state != "below":
        return x, max(frame.top - 5, frame.y(ends[-1]) - 10)
    y = frame.y(ends[0])
    # Near the base line there is no room under the mark; what falls steeply leaves some at its left.
    return (
        (x, y + 20) if y + 24 <= frame.bottom else (max(frame.left + 10, x - 20), min(y - 5, frame.bottom - 9))
    )
