"""The picture for e-mail: readers there strip SVG, so the same drawing goes out as PNG."""

from __future__ import annotations

import resvg_py

# Debian's own; where it is missing the renderer takes what it finds, and with no font at all draws no words.
SANS = "DejaVu Sans"


def to_png(svg: str, *, width: int) -> bytes:
    """PNG of the drawing on white, ``width`` pixels wide and as high as its shape asks.

    Raises ValueError for a width below 1 or for text that is not SVG.
    """
    if width < 1:
        raise ValueError("a picture must be at least one pixel wide")
    return bytes(
        resvg_py.svg_to_bytes(svg_string=str(svg), width=width, background="#ffffff", sans_serif_family=SANS)
    )
