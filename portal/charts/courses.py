"""How the water runs from site to site: its courses, the order downstream, and the line drawn through them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from xml.etree.ElementTree import Element

from portal.charts.svg import number, put

Place = tuple[float, float]


def courses(lower: Mapping[str, str]) -> list[list[str]]:
    """Keys in the order of the water, by the key of each site's next one downstream ("" where none is known).

    One line from each uppermost site, ending where it joins another; the longest way to the mouth comes first.
    """
    heads = [key for key in lower if key not in set(lower.values())]
    # Sites that somebody has let flow in a ring have no uppermost one.
    heads = sorted(heads, key=lambda key: -len(_way(key, lower))) + [key for key in lower if key not in heads]
    drawn: set[str] = set()
    found = []
    for head in heads:
        if head in drawn:
            continue
        course = [head]
        while course[-1] not in drawn and lower.get(course[-1], "") in lower:
            drawn.add(course[-1])
            course.append(lower[course[-1]])
        drawn.add(course[-1])
        found.append(course)
    return found


def order_downstream(lower: Mapping[str, str]) -> list[str]:
    """The keys so that each site stands before the one it flows to; what joins a river stands above the mouth
    of its branch. Sites in a ring keep the order they were given in."""
    above: dict[str, list[str]] = {key: [] for key in lower}
    for key, below in lower.items():
        if below in above:
            above[below].append(key)
    ordered: dict[str, None] = {}
    for course in courses(lower):
        _climb(course[-1], above, ordered)
    return list(ordered)


def _climb(mouth: str, above: Mapping[str, list[str]], ordered: dict[str, None]) -> None:
    """Add a site after all that flows to it, without recursion: a long river is no deep stack."""
    waiting, seen = [mouth], {mouth}
    while waiting:
        ahead = [key for key in above[waiting[-1]] if key not in ordered and key not in seen]
        if ahead:
            seen.add(ahead[0])
            waiting.append(ahead[0])
        else:
            ordered[waiting.pop()] = None


def _way(key: str, lower: Mapping[str, str]) -> list[str]:
    way = [key]
    while (after := lower.get(way[-1], "")) in lower and after not in way:
        way.append(after)
    return way


def draw_course(root: Element, places: Sequence[Place]) -> None:
    """A line that bends softly through the places, with an arrow half way between each two."""
    if len(places) < 2:
        return
    put(root, "path", "river", d=_smooth(places), stroke_linecap="round", stroke_opacity="0.55")
    heads = "".join(_arrow(*pair) for pair in pairwise(places))
    put(root, "path", "line", d=heads)


def _arrow(start: Place, end: Place) -> str:
    """An arrow's head half way between two places, as part of a path."""
    (x1, y1), (x2, y2) = start, end
    x, y, turn = (x1 + x2) / 2, (y1 + y2) / 2, math.atan2(y2 - y1, x2 - x1)
    corners = [(-5, -5), (4, 0), (-5, 5)]
    turned = [
        (x + a * math.cos(turn) - b * math.sin(turn), y + a * math.sin(turn) + b * math.cos(turn))
        for a, b in corners
    ]
    return "M" + "L".join(f"{number(a)} {number(b)}" for a, b in turned)


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
