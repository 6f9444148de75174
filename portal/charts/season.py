"""The pattern over the months: a low July may be a usual July."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from statistics import median
from xml.etree.ElementTree import Element, SubElement

from portal.charts import marks
from portal.charts.marks import Key
from portal.charts.points import Point, in_order
from portal.charts.scales import Frame, value_ticks
from portal.charts.svg import Drawing, canvas, clean, finish, put, text_width, write
from portal.charts.words import Words, words_for

LEFT, RIGHT, TOP, AXIS = 46.0, 14.0, 34.0, 30.0
# Any year will do to lay months side by side; a leap year holds every day.
YEAR = 2024


def draw_season(
    points: Iterable[Point],
    *,
    title: str,
    index_name: str,
    unit: str = "",
    year: int | None = None,
    width: int = 720,
    height: int = 260,
    lang: str = "en",
) -> Drawing:
    """All scored visits by month with the median of each month; those of ``year`` filled, the others hollow.

    Without ``year`` the latest one is meant. Visits without a score, not tested or of
    other than standard effort are left out.
    """
    words = words_for(lang)
    shown = [p for p in in_order(points) if p.state in ("normal", "below")]
    chosen = year if year is not None else (shown[-1].when.year if shown else None)
    name = _season_title(title, shown, words)
    root = canvas(width, height, title=name, desc=words.how_to_read_season, lang=words.lang, kind="season")
    heading = f"{index_name} ({unit})" if unit else index_name
    if shown:
        _draw(root, shown, chosen, heading, (width, height), words)
    else:
        write(root, 4, 17, heading, "text-strong")
        write(root, width / 2, height / 2, words.empty, "text", "middle")
    return finish(root)


def _season_title(title: str, shown: Sequence[Point], words: Words) -> str:
    if not shown:
        return f"{title}. {words.empty}."
    first, last = words.day(shown[0].when), words.day(shown[-1].when)
    pattern = ", ".join(
        f"{words.months[m - 1]} {words.figure(v, 1)}" for m, v in monthly_medians(shown).items()
    )
    counted = words.season.format(count=len(shown), first=first, last=last)
    return f"{title}: {counted}; {words.middle}: {pattern}."


def monthly_medians(points: Sequence[Point]) -> dict[int, float]:
    """Month 1-12 to the median of its scores, months without a score left out."""
    scores: dict[int, list[float]] = {}
    for point in points:
        if point.value is not None:
            scores.setdefault(point.when.month, []).append(point.value)
    return {month: median(scores[month]) for month in sorted(scores)}


def _draw(
    root: Element,
    shown: Sequence[Point],
    year: int | None,
    heading: str,
    size: tuple[int, int],
    words: Words,
) -> None:
    width, height = size
    keys = [Key("normal", str(year)), Key("earlier", words.earlier), Key("middle", words.middle)]
    if any(marks.range_note(point.low, point.high, words) for point in shown):
        keys.append(Key("bounds", words.bounds))
    rows = marks.legend_rows(keys, width - 12)
    bottom = height - AXIS - marks.ROW * len(rows) - 4
    ticks = value_ticks(_figures(shown), max(2, int(bottom - TOP) // 38))
    frame = Frame(LEFT, TOP, width - RIGHT, bottom, date(YEAR, 1, 1), date(YEAR, 12, 31), ticks[0], ticks[-1])
    marks.value_axis(root, frame, ticks, heading, words)
    marks.date_axis(root, frame, _month_ticks(frame, words))
    _medians(root, shown, frame)
    for point in sorted(shown, key=lambda p: p.when.year == year):
        _dot(root, point, frame, "normal" if point.when.year == year else "earlier", words)
    marks.legend(root, rows, 6, bottom + AXIS)


def _figures(shown: Sequence[Point]) -> list[float]:
    return [figure for p in shown for figure in (p.low, p.value, p.high) if figure is not None]


def _month_ticks(frame: Frame, words: Words) -> list[tuple[date, str]]:
    """Labels in mid-month; on a narrow drawing the first letter has to do."""
    wide = (frame.right - frame.left) / 12 > text_width("Mmm") + 6
    return [(date(YEAR, m, 15), words.months[m - 1][: None if wide else 1]) for m in range(1, 13)]


def _medians(root: Element, shown: Sequence[Point], frame: Frame) -> None:
    for month, value in monthly_medians(shown).items():
        x, half = frame.x(date(YEAR, month, 15)), (frame.right - frame.left) / 30
        put(root, "line", "middle", x1=x - half, x2=x + half, y1=frame.y(value), y2=frame.y(value))


def _dot(root: Element, point: Point, frame: Frame, style: str, words: Words) -> None:
    group = SubElement(root, "g")
    SubElement(group, "title").text = clean(marks.visit_label(point, words))
    x = frame.x(point.when.replace(year=YEAR))
    marks.whisker(group, (point.low, point.value, point.high), frame, x, 3)
    put(group, "circle", style, cx=x, cy=frame.y(point.value or 0.0), r=4.2)
