"""Pictures of a tile server laid under a map, where the portal's operator names one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

from portal.charts.svg import number

SIZE = 256  # pixels of a tile, as all servers of the usual scheme cut them
DEEPEST = 17


@dataclass(frozen=True)
class Tiles:
    """Where tiles are: an address with {z}, {x} and {y}, in the usual scheme of square web maps."""

    template: str


@dataclass(frozen=True)
class World:
    """The whole world on paper: where its upper left corner lies and how wide it is, in pixels."""

    left: float
    top: float
    size: float

    @property
    def level(self) -> int:
        """The level whose tiles are nearest to their own size."""
        return max(0, min(DEEPEST, round(math.log2(self.size / SIZE))))


def lay_tiles(root: Element, tiles: Tiles, world: World, width: float, height: float) -> None:
    """The tiles that show on a paper of this size, cut off at its edges; a screen reader passes them by."""
    frame = SubElement(root, "svg", {"class": "rb-tiles", "aria-hidden": "true"})
    frame.attrib |= {"width": number(width), "height": number(height)}
    side = world.size / 2**world.level
    for column, row in _shown(world, side, width, height):
        image = SubElement(frame, "image", {"preserveAspectRatio": "none"})
        image.set("href", tiles.template.format(z=world.level, x=column % 2**world.level, y=row))
        image.set("x", number(world.left + column * side))
        image.set("y", number(world.top + row * side))
        # A hair wider, so that no seam shows between rounded edges.
        image.set("width", number(side + 0.5))
        image.set("height", number(side + 0.5))


def _shown(world: World, side: float, width: float, height: float) -> Iterator[tuple[int, int]]:
    first, last = math.floor(-world.left / side), math.floor((width - world.left) / side)
    top, bottom = math.floor(-world.top / side), math.floor((height - world.top) / side)
    for row in range(max(0, top), min(bottom, 2**world.level - 1) + 1):
        yield from ((column, row) for column in range(first, last + 1))
