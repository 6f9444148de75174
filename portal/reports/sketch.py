"""A sketch of the sites on their rivers, drawn from coordinates and the order of the water alone.

Where a group hides exact places, only the order is drawn: columns count steps to the mouth, rows the rivers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise, product
from typing import Any
from xml.etree.ElementTree import Element

from portal.charts import Drawing
from portal.charts.marks import mark
from portal.charts.points import State
from portal.charts.svg import canvas, finish, number, put, text_width, write

WIDTH, EDGE, LONGEST = 680.0, 46.0, 470.0
# Metres in a degree of latitude; a sphere is near enough for a sketch.
DEGREE = 111_320.0
ROUND_LENGTHS = (100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000)
LABEL = 13.0  # height of a line of text, pixels
ROW = 64.0  # between rivers where only the order is drawn, pixels

Site = Mapping[str, Any]
Place = tuple[float, float]
Box = tuple[float, float, float, float]


def draw_sketch(sites: Sequence[Site], *, title: str, description: str, lang: str) -> Drawing:
    """Sites by the state of their year, rivers as lines with arrows downstream. Needs one site at least.

    Drawn to scale with north up, unless places are rounded.
    """
    is_rounded = any(site.get("is_rounded") for site in sites)
    scale = 0.0 if is_rounded else _pixels_per_metre(_metres(sites))
    places, height = _in_order(sites) if is_rounded else _on_paper(_metres(sites), scale)
    root = canvas(WIDTH, height, title=title, desc=description, lang=lang, kind="sketch")
    put(root, "rect", "window", x=0, y=0, width=WIDTH, height=height)
    for course in courses(sites):
        _river(root, [places[code] for code in course])
    _marks(root, sites, places)
    _labels(root, sites, places, height)
    if scale:
        _scale_bar(root, scale, height)
        _north(root)
    return finish(root)


def state_of(site: Site) -> State:
    """How a site's year is drawn: below when it fell once, untested when nothing was tested."""
    if site["below"]:
        return "below"
    return "normal" if site["not_below"] else "untested"


def courses(sites: Sequence[Site]) -> list[list[str]]:
    """Codes in the order of the water: one line from each uppermost site, ending where it joins another."""
    lower = {site["code"]: site["downstream"] for site in sites}
    heads = [code for code in lower if code not in set(lower.values())]
    drawn: set[str] = set()
    found = []
    for head in heads or list(lower)[:1]:
        course = [head]
        while course[-1] not in drawn and lower.get(lower[course[-1]]) is not None:
            drawn.add(course[-1])
            course.append(lower[course[-1]])
        drawn.add(course[-1])
        found.append(course)
    return found


def _metres(sites: Sequence[Site]) -> dict[str, Place]:
    """Metres east and south of the middle of all sites, by code."""
    middle_lat = sum(site["latitude"] for site in sites) / len(sites)
    middle_lon = sum(site["longitude"] for site in sites) / len(sites)
    shrink = math.cos(math.radians(middle_lat))
    return {
        site["code"]: (
            (site["longitude"] - middle_lon) * DEGREE * shrink,
            (middle_lat - site["latitude"]) * DEGREE,
        )
        for site in sites
    }


def _pixels_per_metre(metres: Mapping[str, Place]) -> float:
    wide = max(x for x, _ in metres.values()) - min(x for x, _ in metres.values())
    high = max(y for _, y in metres.values()) - min(y for _, y in metres.values())
    # The labels stand beside the marks and want room at both edges.
    return min((WIDTH - 4 * EDGE) / max(wide, 100.0), (LONGEST - 3 * EDGE) / max(high, 100.0))


def _on_paper(metres: Mapping[str, Place], scale: float) -> tuple[dict[str, Place], float]:
    left = min(x for x, _ in metres.values())
    top = min(y for _, y in metres.values())
    wide = (max(x for x, _ in metres.values()) - left) * scale
    margin = (WIDTH - wide) / 2
    places = {code: (margin + (x - left) * scale, EDGE + (y - top) * scale) for code, (x, y) in metres.items()}
    return places, max(y for _, y in places.values()) + 1.6 * EDGE


def _in_order(sites: Sequence[Site]) -> tuple[dict[str, Place], float]:
    """Places that tell nothing but the order: the mouth at the right, each river in a row of its own."""
    lower = {site["code"]: site["downstream"] for site in sites}
    steps = {code: _steps(code, lower) for code in lower}
    rows = {river: row for row, river in enumerate(dict.fromkeys(site["river"] for site in sites))}
    wide = (WIDTH - 4 * EDGE) / max(1, *steps.values())
    places = {
        site["code"]: (WIDTH - 2 * EDGE - steps[site["code"]] * wide, EDGE + rows[site["river"]] * ROW)
        for site in sites
    }
    return places, EDGE * 1.6 + ROW * (len(rows) - 1)


def _steps(code: str, lower: Mapping[str, str]) -> int:
    """Sites still to pass until the mouth; a ring, which nobody should have drawn, ends after one round."""
    seen = [code]
    while (after := lower.get(seen[-1], "")) in lower and after not in seen:
        seen.append(after)
    return len(seen) - 1


def _river(root: Element, places: Sequence[Place]) -> None:
    """A line that bends softly through the places, with an arrow half way between each two."""
    if len(places) < 2:
        return
    put(root, "path", "river", d=_smooth(places), stroke_linecap="round", stroke_opacity="0.55")
    for (x1, y1), (x2, y2) in pairwise(places):
        turn = math.degrees(math.atan2(y2 - y1, x2 - x1))
        middle = f"translate({number((x1 + x2) / 2)} {number((y1 + y2) / 2)}) rotate({number(turn)})"
        put(root, "path", "line", d="M-5 -5L4 0L-5 5", transform=middle)


def _smooth(places: Sequence[Place]) -> str:
    """Bezier curves through all places; each leaves a place as a line between its neighbours would run."""
    ends = [places[0], *places, places[-1]]
    parts = [f"M{number(places[0][0])} {number(places[0][1])}"]
    for before, here, there, after in zip(ends, ends[1:], ends[2:], ends[3:], strict=False):
        # A tenth of the neighbours' distance bends softly, without loops where sites lie close together.
        first = (here[0] + (there[0] - before[0]) / 10, here[1] + (there[1] - before[1]) / 10)
        second = (there[0] - (after[0] - here[0]) / 10, there[1] - (after[1] - here[1]) / 10)
        parts.append("C" + " ".join(f"{number(x)} {number(y)}" for x, y in (first, second, there)))
    return "".join(parts)


def _marks(root: Element, sites: Sequence[Site], places: Mapping[str, Place]) -> None:
    for site in sites:
        mark(root, state_of(site), *places[site["code"]], 6.5)


def _labels(root: Element, sites: Sequence[Site], places: Mapping[str, Place], height: float) -> None:
    """Codes beside their marks and each river's name at its first site, where they hide least."""
    taken: list[Box] = [(x - 8, y - 8, x + 8, y + 8) for x, y in places.values()]
    for site in sites:
        _label(root, site["code"], places[site["code"]], taken, height, "text-strong")
    named: set[str] = set()
    for site in sites:
        if site["river"] not in named:
            named.add(site["river"])
            _label(root, site["river"], places[site["code"]], taken, height, "text-soft")


def _label(root: Element, text: str, place: Place, taken: list[Box], height: float, style: str) -> None:
    wide = text_width(text, LABEL)
    boxes = [_box(place, wide, *spot) for spot in product((1, -1, 0), (0, -1, 1, -2, 2, -3, 3)) if any(spot)]
    inside = [box for box in boxes if box[0] > 2 and box[2] < WIDTH - 2 and box[1] > 2 and box[3] < height - 26]
    best = min(inside or boxes, key=lambda box: sum(_overlap(box, other) for other in taken))
    taken.append(best)
    write(root, (best[0] + best[2]) / 2, best[3] - 3, text, style, "middle")


def _box(place: Place, wide: float, side: int, line: int) -> Box:
    """Where a label would stand: right, left or in the middle of the mark, so many lines above or below it."""
    left = place[0] + {1: 11.0, -1: -11.0 - wide, 0: -wide / 2}[side]
    top = place[1] - LABEL / 2 + line * (LABEL + 3)
    return left, top, left + wide, top + LABEL


def _overlap(one: Box, other: Box) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(0.0, wide) * max(0.0, high)


def _scale_bar(root: Element, scale: float, height: float) -> None:
    length = next((each for each in ROUND_LENGTHS if each * scale > 70), ROUND_LENGTHS[-1])
    y, right = height - 16, 14 + length * scale
    put(root, "line", "axis", x1=14, x2=right, y1=y, y2=y)
    for x in (14, right):
        put(root, "line", "axis", x1=x, x2=x, y1=y - 4, y2=y + 4)
    label = f"{length} m" if length < 1000 else f"{length // 1000} km"
    write(root, right + 8, y + 4, label, "text-soft")


def _north(root: Element) -> None:
    x = WIDTH - 26
    put(root, "path", "line", d=f"M{number(x)} 44V14M{number(x - 6)} 23L{number(x)} 13L{number(x + 6)} 23")
    write(root, x, 58, "N", "text-soft", "middle")
