"""How the scores of a site lie along the scale of the index, and where a level would cut them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from xml.etree.ElementTree import Element, SubElement

from portal.charts import marks
from portal.charts.marks import Key
from portal.charts.points import State
from portal.charts.scales import decimals, value_ticks
from portal.charts.svg import Drawing, canvas, clean, finish, put, text_width, write
from portal.charts.words import Words, words_for

SIDE, TOP, AXIS = 26.0, 40.0, 26.0
LARGEST, SMALLEST = 5.0, 2.0  # radius of a mark, pixels


@dataclass(frozen=True)
class Scale:
    """The axis in pixels and the figures at its ends."""

    left: float
    right: float
    low: float
    high: float

    def x(self, value: float) -> float:
        return self.left + (value - self.low) / (self.high - self.low) * (self.right - self.left)


def draw_spread(
    scores: Iterable[float],
    *,
    title: str,
    index_name: str,
    unit: str = "",
    level: float | None = None,
    width: int = 720,
    height: int = 210,
    lang: str = "en",
) -> Drawing:
    """The scores as piled marks on the axis of the index, with a line at ``level``.

    Scores closer than a mark is wide share a pile. A score is below the level when it is strictly less.
    """
    words, values = words_for(lang), sorted(scores)
    root = canvas(
        width,
        height,
        title=_title(title, values, level, words),
        desc=words.how_to_read_spread,
        lang=words.lang,
        kind="spread",
    )
    write(root, 4, 17, f"{index_name} ({unit})" if unit else index_name, "text-strong")
    if values:
        _draw(root, values, level, (width, height), words)
    else:
        write(root, width / 2, height / 2, words.no_baseline, "text", "middle")
    return finish(root)


def _title(title: str, values: Sequence[float], level: float | None, words: Words) -> str:
    if not values:
        return f"{title}. {words.no_baseline}."
    low, middle, high = (words.figure(value) for value in (values[0], median(values), values[-1]))
    parts = [words.baseline.format(count=len(values), low=low, middle=middle, high=high)]
    if level is not None:
        below = sum(value < level for value in values)
        parts.append(words.baseline_below.format(level=words.figure(level), count=below))
    return f"{title}: {'; '.join(parts)}."


def _draw(
    root: Element, values: Sequence[float], level: float | None, size: tuple[int, int], words: Words
) -> None:
    width, height = size
    rows = marks.legend_rows(_keys(values, level, words), width - 12)
    bottom = height - AXIS - marks.ROW * len(rows) - 4
    shown = [*values, *([] if level is None else [level])]
    ticks = value_ticks(shown, max(2, int(width // 90)))
    scale = Scale(SIDE, width - SIDE, ticks[0], ticks[-1])
    _axis(root, scale, ticks, bottom, words)
    _piles(root, values, level, scale, bottom, words)
    if level is not None:
        _level(root, level, scale, bottom, words)
    marks.legend(root, rows, 6, bottom + AXIS)


def _keys(values: Sequence[float], level: float | None, words: Words) -> list[Key]:
    """Only what is in the drawing is in its legend."""
    wanted = [
        (level is None or values[-1] >= level, Key("normal", words.not_below_level)),
        (level is not None and values[0] < level, Key("below", words.below_level)),
        (level is not None, Key("trigger", words.level)),
    ]
    return [key for present, key in wanted if present]


def _axis(root: Element, scale: Scale, ticks: Sequence[float], bottom: float, words: Words) -> None:
    put(root, "line", "axis", x1=scale.left, x2=scale.right, y1=bottom, y2=bottom)
    places = decimals(ticks)
    for tick in ticks:
        x = scale.x(tick)
        put(root, "line", "axis", x1=x, x2=x, y1=bottom, y2=bottom + 5)
        write(root, x, bottom + 20, words.figure(tick, places), "text-soft", "middle")


def _piles(
    root: Element, values: Sequence[float], level: float | None, scale: Scale, bottom: float, words: Words
) -> None:
    r = _radius(values, scale, bottom - TOP)
    columns = _columns(values, scale, r)
    # The smallest marks overlap rather than leave the drawing.
    step = min(2 * r, (bottom - TOP) / max(map(len, columns.values())))
    for column, pile in columns.items():
        for place, value in enumerate(pile):
            state: State = "below" if level is not None and value < level else "normal"
            group = SubElement(root, "g")
            meaning = words.below_level if state == "below" else words.not_below_level
            SubElement(group, "title").text = clean(f"{words.figure(value)}: {meaning}")
            marks.mark(group, state, scale.left + column * 2 * r, bottom - 1.4 * r - step * place, r * 0.92)


def _columns(values: Sequence[float], scale: Scale, r: float) -> Mapping[int, list[float]]:
    """The scores by the column of pixels, one mark wide, that each falls in."""
    columns: dict[int, list[float]] = {}
    for value in values:
        columns.setdefault(round((scale.x(value) - scale.left) / (2 * r)), []).append(value)
    return columns


def _radius(values: Sequence[float], scale: Scale, room: float) -> float:
    """The largest mark at which the highest pile still fits."""
    r = LARGEST
    while r > SMALLEST and max(map(len, _columns(values, scale, r).values())) * 2 * r > room:
        r *= 0.9
    return r


def _level(root: Element, level: float, scale: Scale, bottom: float, words: Words) -> None:
    x = scale.x(level)
    put(root, "line", "trigger", x1=x, x2=x, y1=TOP - 10, y2=bottom)
    label = f"{words.level} {words.figure(level)}"
    fits = x + 6 + text_width(label) <= scale.right + SIDE
    write(root, x + 6 if fits else x - 6, TOP - 4, label, "text-trigger", "start" if fits else "end")
