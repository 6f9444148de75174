"""A river's profile: each site's latest score over what is usual there, from the highest site to the lowest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.etree.ElementTree import Element, SubElement

from portal.charts import marks
from portal.charts.map import STATES, MapState, state_word_of
from portal.charts.marks import SWATCH, Key, legend_rows, value_axis
from portal.charts.scales import Frame, value_ticks
from portal.charts.svg import Drawing, canvas, clean, finish, number, put, text_width, write
from portal.charts.words import Words, figure, words_for

LEFT, TOP, NARROWEST, COLUMN, PLOT = 52.0, 40.0, 560.0, 40.0, 230.0
# On a phone: as wide as its charts are, with marks that just stand clear of each other.
PHONE, PHONE_COLUMN = 340.0, 24.0
MOST_ON_PHONE = int((PHONE - LEFT - 12) / PHONE_COLUMN)


@dataclass(frozen=True)
class Station:
    """One site of the profile. ``into`` is the place in the list that its water comes to next, None for none.

    ``latest`` and ``typical`` are in the unit of the index, None where there is no score; ``low`` and ``high``
    bound the middle half of the scores.
    """

    code: str
    name: str
    state: MapState
    latest: float | None = None
    when: date | None = None
    typical: float | None = None
    low: float | None = None
    high: float | None = None
    into: int | None = None


@dataclass(frozen=True)
class ProfileWords:
    """What the drawing says besides the states: the axis, the usual score, the middle half, how to read it."""

    axis: str
    usual: str
    spread: str
    how_to_read: str


def draw_profile(
    stations: Sequence[Station],
    *,
    title: str,
    words: ProfileWords,
    lang: str = "en",
    is_narrow: bool = False,
) -> Drawing:
    """The sites in the order given as an accessible SVG, as wide as they need, 560 pixels at least.

    One that `is_narrow` is 340 pixels wide for up to `MOST_ON_PHONE` sites.

    Raises ValueError without a site, or where one flows to an earlier one.
    """
    if not stations:
        raise ValueError("a profile needs at least one site")
    if any(each.into is not None and each.into <= row for row, each in enumerate(stations)):
        raise ValueError("a site cannot flow into one above it")
    own, width = words_for(lang), _width(len(stations), is_narrow=is_narrow)
    below = 16 + max(text_width(each.code) for each in stations)
    rows = legend_rows(_keys(stations, words, own), width - 12)
    size = (width, TOP + PLOT + below + marks.ROW * len(rows) + 6)
    root = canvas(*size, title=title, desc=words.how_to_read, lang=own.lang, kind="profile")
    frame, ticks = _frame(stations, width)
    value_axis(root, frame, ticks, words.axis, own)
    put(root, "line", "axis", x1=frame.left, x2=frame.right, y1=frame.bottom, y2=frame.bottom)
    _usual_line(root, stations, frame)
    for row, station in enumerate(stations):
        _station(root, station, _x(row, stations, frame), frame, own)
    _legend(root, rows, TOP + PLOT + below)
    return finish(root)


def _width(number: int, *, is_narrow: bool) -> float:
    least, column = (PHONE, PHONE_COLUMN) if is_narrow else (NARROWEST, COLUMN)
    return max(least, LEFT + column * number + 12)


def _frame(stations: Sequence[Station], width: float) -> tuple[Frame, list[float]]:
    shown = [[each.latest, each.low, each.typical, each.high] for each in stations]
    ticks = value_ticks([value for row in shown for value in row if value is not None], 6)
    # Sites stand side by side, so that the days of the frame are never asked for.
    frame = Frame(LEFT, TOP, width - 12, TOP + PLOT, date.min, date.max, ticks[0], ticks[-1])
    return frame, ticks


def _x(row: int, stations: Sequence[Station], frame: Frame) -> float:
    return frame.left + (frame.right - frame.left) * (row + 0.5) / len(stations)


def _usual_line(root: Element, stations: Sequence[Station], frame: Frame) -> None:
    """From each site's usual score to that of the next one downstream; a branch has a line of its own."""
    for row, station in enumerate(stations):
        below = None if station.into is None else stations[station.into]
        if below is None or station.typical is None or below.typical is None:
            continue
        x1, x2 = _x(row, stations, frame), _x(station.into or 0, stations, frame)
        put(root, "line", "line", x1=x1, y1=frame.y(station.typical), x2=x2, y2=frame.y(below.typical))


def _station(root: Element, station: Station, x: float, frame: Frame, words: Words) -> None:
    group = SubElement(root, "g")
    SubElement(group, "title").text = clean(_told(station, words))
    if station.low is not None and station.high is not None:
        low, high = frame.y(station.low), frame.y(station.high)
        put(group, "rect", "spread", x=x - 7, y=high, width=14, height=max(1.0, low - high))
    if station.typical is not None:
        y = frame.y(station.typical)
        put(group, "line", "middle", x1=x - 9, x2=x + 9, y1=y, y2=y)
    if station.latest is not None and station.state != "unvisited":
        marks.mark(group, station.state, x, frame.y(station.latest), 5.5)
    label = write(group, x + 4, frame.bottom + 12, station.code, "text", "end")
    label.set("transform", f"rotate(-60 {number(x + 4)} {number(frame.bottom + 12)})")


def _told(station: Station, words: Words) -> str:
    score = "" if station.latest is None else f" {figure(station.latest)}"
    return f"{station.code} {station.name}: {state_word_of(station.state, words)}{score}"


def _keys(stations: Sequence[Station], words: ProfileWords, own: Words) -> list[Key]:
    shown = {each.state for each in stations if each.latest is not None}
    states = [
        Key(state, state_word_of(state, own)) for state in STATES if state in shown and state != "unvisited"
    ]
    return [*states, Key("middle", words.usual), Key("spread", words.spread)]


def _legend(root: Element, rows: Sequence[Sequence[tuple[float, Key]]], top: float) -> None:
    plain = [[(x, key) for x, key in row if key.style != "spread"] for row in rows]
    marks.legend(root, plain, 6, top)
    for index, row in enumerate(rows):
        for x, key in row:
            if key.style == "spread":
                y = top + marks.ROW * (index + 0.5)
                put(root, "rect", "spread", x=x + 10, y=y - 8, width=14, height=16)
                write(root, x + 6 + SWATCH, y + 4.5, key.label, "text-soft")
