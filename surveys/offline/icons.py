"""The icons of the app as PNG, drawn from the one mark; phones take no SVG on their home screens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from django.conf import settings

from portal.charts.raster import to_png

MARK = "portal/static/img/mark.svg"


@dataclass(frozen=True)
class Icon:
    """`size` in pixels; a maskable icon fills its square, and what matters keeps to the middle of it."""

    size: int
    is_maskable: bool = False


ICONS: Mapping[str, Icon] = MappingProxyType(
    {
        "180": Icon(180, is_maskable=True),
        "192": Icon(192),
        "512": Icon(512),
        "maskable-512": Icon(512, is_maskable=True),
    }
)


@lru_cache(maxsize=len(ICONS))
def icon_png(name: str) -> bytes:
    """The icon of that name; raises KeyError for one there is none of."""
    icon = ICONS[name]
    mark = (settings.BASE_DIR / MARK).read_text()
    return to_png(_filling(mark) if icon.is_maskable else mark, width=icon.size)


def _filling(mark: str) -> str:
    """The mark without round corners, drawn smaller: a phone may cut a fifth off every side."""
    _head, _corner, inner = mark.partition("/>")
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="-8 -8 64 64" fill="none" stroke-width="4"'
        ' stroke-linecap="round" stroke-linejoin="round">'
        f'<rect x="-8" y="-8" width="64" height="64" fill="#06303a"/>{inner}'
    )
