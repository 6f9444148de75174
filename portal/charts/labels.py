"""Where names stand beside marks so that they hide least."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import product

from portal.charts.svg import text_width

Place = tuple[float, float]
Box = tuple[float, float, float, float]
Stroke = tuple[Place, Place]  # a straight line from here to there
HEIGHT = 13.0  # of a line of text, pixels
CAPITAL = 11.2  # width of a bold capital in a line of that height, roughly
BEARABLE = 0.1  # share of a label that may lie on what is drawn already: widths are rough
BESIDE = 15.0  # from the middle of a mark to its label, pixels
# Side and line of where a label may stand, the nearest first: beside its mark, then above or below it.
SPOTS = sorted(
    (spot for spot in product((1, -1, 0), (0, -1, 1, -2, 2, -3, 3)) if any(spot)),
    key=lambda spot: (abs(spot[1]), abs(spot[0]) if spot[1] else 0),
)


def width_of(text: str, *, is_bold: bool) -> float:
    """Roughly how wide a label will be: the codes of sites are bold, and mostly capitals."""
    return CAPITAL * len(text) if is_bold else text_width(text, HEIGHT)


def best_box(wide: float, place: Place, taken: Sequence[Box], paper: Place, *, reach: int = 3) -> Box:
    """Left, top, right and bottom of a label at ``place``: inside the paper, over little that is taken.

    It stands at most ``reach`` lines above or below its mark.
    """
    boxes = [_box(place, wide, *spot) for spot in SPOTS if abs(spot[1]) <= reach]
    all_round = min(each[0] for each in boxes), min(each[1] for each in boxes), *_far_corner(boxes)
    # Most of what is taken lies elsewhere, and would be asked for each of the spots.
    near = [other for other in taken if _overlap(all_round, other)]
    return min(_inside(boxes, paper) or boxes, key=lambda box: _hidden(box, near))


def clearest(boxes: Sequence[Box], taken: Sequence[Box], strokes: Sequence[Stroke]) -> Box:
    """The first of the boxes that hides nothing of what is taken and drawn, else the one that hides least."""
    around = min(box[0] for box in boxes), min(box[1] for box in boxes), *_far_corner(boxes)
    near = [other for other in taken if _overlap(around, other)]
    crossing = [stroke for stroke in strokes if _length_within(around, stroke)]

    def hidden(box: Box) -> float:
        lines = sum(_length_within(box, stroke) for stroke in crossing)
        return lines + _hidden(box, near)

    return min(boxes, key=hidden)


def _length_within(box: Box, stroke: Stroke) -> float:
    """How much of a line lies in the box, pixels (by clipping as Liang and Barsky do)."""
    (x, y), (x_end, y_end) = stroke
    along, down, first, last = x_end - x, y_end - y, 0.0, 1.0
    for slope, room in ((-along, x - box[0]), (along, box[2] - x), (-down, y - box[1]), (down, box[3] - y)):
        if slope == 0 and room <= 0:
            return 0.0
        if slope < 0:
            first = max(first, room / slope)
        elif slope > 0:
            last = min(last, room / slope)
    return max(0.0, last - first) * math.hypot(along, down)


def clear_box(
    wide: float, places: Iterable[Place], taken: Sequence[Box], paper: Place, *, reach: int
) -> Box | None:
    """A label's box at the first of the places that has room for it; None where none has."""
    boxes = (best_box(wide, place, taken, paper, reach=reach) for place in places)
    return next((box for box in boxes if _hidden(box, taken) <= BEARABLE * wide * HEIGHT), None)


def _hidden(box: Box, taken: Sequence[Box]) -> float:
    return sum(_overlap(box, other) for other in taken)


def _far_corner(boxes: Sequence[Box]) -> Place:
    return max(each[2] for each in boxes), max(each[3] for each in boxes)


def box_about(place: Place, reach: float) -> Box:
    """The square about a mark."""
    return place[0] - reach, place[1] - reach, place[0] + reach, place[1] + reach


def _inside(boxes: Iterable[Box], paper: Place) -> list[Box]:
    wide, high = paper
    return [box for box in boxes if box[0] > 2 and box[2] < wide - 2 and box[1] > 2 and box[3] < high - 26]


def _box(place: Place, wide: float, side: int, line: int) -> Box:
    """Right, left or in the middle of the mark, so many lines above or below it."""
    left = place[0] + {1: BESIDE, -1: -BESIDE - wide, 0: -wide / 2}[side]
    top = place[1] - HEIGHT / 2 + line * (HEIGHT + 3)
    return left, top, left + wide, top + HEIGHT


def _overlap(one: Box, other: Box) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(0.0, wide) * max(0.0, high)
