"""A sketch of the sites on their rivers, drawn from coordinates and the order of the water alone.

Where a group hides exact places, only the order is drawn: columns count steps to the mouth, rows the rivers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import Element

from portal.charts import Drawing
from portal.charts.courses import courses, draw_course
from portal.charts.labels import Box, Place, best_box, box_about, width_of
from portal.charts.marks import mark
from portal.charts.points import State
from portal.charts.svg import canvas, finish, number, put, write

WIDTH, EDGE, LONGEST = 680.0, 46.0, 470.0
# Metres in a degree of latitude; a sphere is near enough for a sketch.
DEGREE = 111_320.0
ROUND_LENGTHS = (100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000)
ROW = 64.0  # between rivers where only the order is drawn, pixels

Site = Mapping[str, Any]


def draw_sketch(sites: Sequence[Site], *, title: str, description: str, lang: str) -> Drawing:
    """Sites by the state of their year, rivers as lines with arrows downstream. Needs one site at least.

    Drawn to scale with north up, unless places are rounded.
    """
    is_rounded = any(site.get("is_rounded") for site in sites)
    scale = 0.0 if is_rounded else _pixels_per_metre(_metres(sites))
    places, height = _in_order(sites) if is_rounded else _on_paper(_metres(sites), scale)
    root = canvas(WIDTH, height, title=title, desc=description, lang=lang, kind="sketch")
    put(root, "rect", "window", x=0, y=0, width=WIDTH, height=height)
    for course in courses(_lower(sites)):
        draw_course(root, [places[code] for code in course])
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


def _lower(sites: Sequence[Site]) -> dict[str, str]:
    """The code of each site's next one downstream, by its own."""
    return {site["code"]: site["downstream"] for site in sites}


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
    lower = _lower(sites)
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


def _marks(root: Element, sites: Sequence[Site], places: Mapping[str, Place]) -> None:
    for site in sites:
        mark(root, state_of(site), *places[site["code"]], 6.5)


def _labels(root: Element, sites: Sequence[Site], places: Mapping[str, Place], height: float) -> None:
    """Codes beside their marks and each river's name at its first site, where they hide least."""
    taken: list[Box] = [box_about(place, 8) for place in places.values()]
    first = {site["river"]: site["code"] for site in reversed(sites)}
    labels = [("text-strong", site["code"], site["code"]) for site in sites]
    labels += [("text-soft", river, code) for river, code in reversed(first.items())]
    for style, text, code in labels:
        wide = width_of(text, is_bold=style == "text-strong")
        box = best_box(wide, places[code], taken, (WIDTH, height))
        taken.append(box)
        write(root, (box[0] + box[2]) / 2, box[3] - 3, text, style, "middle")


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
