"""A sketch of the sites and how the water runs from one to the next, drawn from coordinates alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import Element

from portal.charts import Drawing
from portal.charts.svg import canvas, finish, put, write

WIDTH, EDGE, LONGEST = 640.0, 40.0, 420.0
# Metres in a degree of latitude; a sphere is near enough for a sketch.
DEGREE = 111_320.0
ROUND_LENGTHS = (100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000)

Place = tuple[float, float]


def draw_sketch(sites: Sequence[Mapping[str, Any]], *, title: str, description: str, lang: str) -> Drawing:
    """Sites as dots with codes, north up, lines down the river, a bar for scale. Needs one site at least."""
    metres = _metres(sites)
    scale = _pixels_per_metre(metres)
    places, height = _on_paper(metres, scale)
    root = canvas(WIDTH, height, title=title, desc=description, lang=lang, kind="sketch")
    put(root, "rect", "window", x=0, y=0, width=WIDTH, height=height)
    for site in sites:
        _water(root, places, site)
    for code, (x, y) in places.items():
        put(root, "circle", "normal", cx=x, cy=y, r=6)
        write(root, x + 10, y + 5, code, "text-strong")
    _scale_bar(root, scale, height)
    return finish(root)


def _metres(sites: Sequence[Mapping[str, Any]]) -> dict[str, Place]:
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
    # The labels stand to the right of the dots and want room there.
    return min((WIDTH - 4 * EDGE) / max(wide, 100.0), (LONGEST - 3 * EDGE) / max(high, 100.0))


def _on_paper(metres: Mapping[str, Place], scale: float) -> tuple[dict[str, Place], float]:
    left = min(x for x, _ in metres.values())
    top = min(y for _, y in metres.values())
    wide = (max(x for x, _ in metres.values()) - left) * scale
    margin = (WIDTH - wide - EDGE) / 2
    places = {code: (margin + (x - left) * scale, EDGE + (y - top) * scale) for code, (x, y) in metres.items()}
    return places, max(y for _, y in places.values()) + 2 * EDGE


def _water(root: Element, places: Mapping[str, Place], site: Mapping[str, Any]) -> None:
    """A line to the next site downstream with an arrow half way; none where that site is not in the report."""
    if site["downstream"] not in places:
        return
    (x1, y1), (x2, y2) = places[site["code"]], places[site["downstream"]]
    put(root, "line", "line", x1=x1, y1=y1, x2=x2, y2=y2)
    turn = math.degrees(math.atan2(y2 - y1, x2 - x1))
    middle = f"translate({(x1 + x2) / 2:.1f} {(y1 + y2) / 2:.1f}) rotate({turn:.1f})"
    put(root, "path", "line", d="M-6 -5L5 0L-6 5", transform=middle)


def _scale_bar(root: Element, scale: float, height: float) -> None:
    length = next((each for each in ROUND_LENGTHS if each * scale > 70), ROUND_LENGTHS[-1])
    y = height - 22
    put(root, "line", "axis", x1=14, x2=14 + length * scale, y1=y, y2=y)
    label = f"{length} m" if length < 1000 else f"{length // 1000} km"
    write(root, 20 + length * scale, y + 4, label, "text-soft")
