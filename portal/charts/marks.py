"""The marks of a visit, the axes and the legend, shared by all charts. Shapes differ so that grey is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.etree.ElementTree import Element, SubElement

from portal.charts.points import Point, State
from portal.charts.scales import Frame, decimals
from portal.charts.svg import clean, number, put, text_width, write
from portal.charts.words import Words

ROW = 20  # height of a row of the legend, pixels
SWATCH = 26  # width of a legend's sample with its gap, pixels


@dataclass(frozen=True)
class Key:
    """One entry of the legend: the style of its sample and what it means."""

    style: str
    label: str


def mark(parent: Element, state: State, x: float, y: float, r: float) -> Element:
    """The shape of that state, centred on (x, y): circle, triangle pointing down, hollow square,
    hollow diamond or cross."""
    if state == "normal":
        return put(parent, "circle", state, cx=x, cy=y, r=r)
    if state == "below":
        r *= 1.45
        return put(parent, "path", state, d=_polygon([(x - r, y - r * 0.8), (x + r, y - r * 0.8), (x, y + r)]))
    if state == "nonstandard":
        return put(parent, "rect", state, x=x - r, y=y - r, width=2 * r, height=2 * r)
    r *= 1.3
    if state == "untested":
        return put(parent, "path", state, d=_polygon([(x, y - r), (x + r, y), (x, y + r), (x - r, y)]))
    a, b, c, d = (number(n) for n in (x - r, x + r, y - r, y + r))
    return put(parent, "path", state, d=f"M{a} {c}L{b} {d}M{a} {d}L{b} {c}")


def _polygon(corners: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in corners) + "Z"


def radius_for(count: int) -> float:
    """Pixels; marks shrink where hundreds stand side by side."""
    if count > 200:
        return 2
    return 3.4 if count > 60 else 4.6


def visit_label(point: Point, words: Words) -> str:
    """What a pointer resting on the mark is told."""
    meaning = getattr(words, point.state)
    score = "" if point.value is None else f"{words.figure(point.value)}, "
    notes = [note for note in (range_note(point.low, point.high, words), point.note) if note]
    aside = f" ({'; '.join(notes)})" if notes else ""
    return f"{words.day(point.when)}: {score}{meaning}{aside}"


def range_note(low: float | None, high: float | None, words: Words) -> str:
    """The bounds of an uncertain score in words, nothing for a certain one."""
    if low is None or high is None or low == high:
        return ""
    return words.between.format(low=words.figure(low), high=words.figure(high))


def visit_mark(parent: Element, point: Point, frame: Frame, r: float, words: Words) -> None:
    """The mark of a visit with its range; one without a score stands on the axis, so that it is not lost."""
    group = SubElement(parent, "g")
    SubElement(group, "title").text = clean(visit_label(point, words))
    x = frame.x(point.when)
    whisker(group, (point.low, point.value, point.high), frame, x, r)
    y = frame.bottom - r * 1.6 if point.value is None else frame.y(point.value)
    mark(group, point.state, x, y, r)


def whisker(group: Element, figures: Sequence[float | None], frame: Frame, x: float, r: float) -> None:
    """The range of an uncertain score, from the lowest to the highest of its known figures."""
    known = [f for f in figures if f is not None]
    if not known or known[0] == known[-1]:
        return
    low, high = frame.y(known[0]), frame.y(known[-1])
    put(group, "line", "bounds", x1=x, x2=x, y1=low, y2=high)
    for y in (low, high):
        put(group, "line", "bounds", x1=x - r, x2=x + r, y1=y, y2=y)


def value_axis(root: Element, frame: Frame, ticks: Sequence[float], heading: str, words: Words) -> None:
    """Rules across the plot, their figures at the left, and what they measure written level above."""
    places = decimals(ticks)
    for tick in ticks:
        y = frame.y(tick)
        put(root, "line", "grid", x1=frame.left, x2=frame.right, y1=y, y2=y)
        write(root, frame.left - 8, y + 4.5, f"{words.figure(tick, places)}", "text-soft", "end")
    write(root, 4, 17, heading, "text-strong")


def date_axis(root: Element, frame: Frame, ticks: Sequence[tuple[date, str]]) -> None:
    """The base line with a short stroke and a label at each tick; a label that would be cut off is left out."""
    put(root, "line", "axis", x1=frame.left, x2=frame.right, y1=frame.bottom, y2=frame.bottom)
    for day, label in ticks:
        x = frame.x(day)
        put(root, "line", "axis", x1=x, x2=x, y1=frame.bottom, y2=frame.bottom + 5)
        write(root, x, frame.bottom + 20, label, "text-soft", "middle")


def legend_rows(keys: Sequence[Key], width: float) -> list[list[tuple[float, Key]]]:
    """The entries with their left edge in pixels, broken into rows of at most ``width``."""
    rows: list[list[tuple[float, Key]]] = []
    x = width
    for key in keys:
        need = SWATCH + text_width(key.label) + 10
        if not rows or x + need > width:
            rows.append([])
            x = 0
        rows[-1].append((x, key))
        x += need
    return rows


def legend(root: Element, rows: Sequence[Sequence[tuple[float, Key]]], left: float, top: float) -> None:
    """The legend, its first row centred ``ROW / 2`` below ``top``."""
    for index, row in enumerate(rows):
        for x, key in row:
            y = top + ROW * (index + 0.5)
            _sample(root, key.style, left + x, y)
            write(root, left + x + SWATCH, y + 4.5, key.label, "text-soft")


def _sample(root: Element, style: str, x: float, y: float) -> None:
    if style in ("normal", "below", "nonstandard", "untested", "unscored"):
        mark(root, style, x + 11, y, 4.6)  # type: ignore[arg-type]
    elif style == "window":
        put(root, "rect", style, x=x, y=y - 7, width=20, height=14)
    elif style == "earlier":
        put(root, "circle", style, cx=x + 11, cy=y, r=4)
    elif style == "bounds":
        put(root, "line", style, x1=x + 11, x2=x + 11, y1=y - 7, y2=y + 7)
    else:
        put(root, "line", style, x1=x, x2=x + 20, y1=y, y2=y)
