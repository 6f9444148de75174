"""A thin hand over ElementTree: it writes escaped, deterministic SVG with presentation attributes only."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final
from xml.etree.ElementTree import Element, SubElement, tostring

FONT: Final = "DejaVu Sans, Noto Sans, Roboto, Segoe UI, Helvetica, Arial, sans-serif"

# Class and fallback colours of each kind of mark. A page restyles them by class for dark mode; e-mail and PDF
# have no style sheet of ours and use the attributes. Light values of the tokens in static/css/tokens.css.
INK, SOFT, RULE, POOL, ROWAN, WASH, PAPER = (
    "#13211f",
    "#3d4f4b",
    "#c9d3cf",
    "#0a4a58",
    "#97201a",
    "#dbe7e4",
    "#ffffff",
)
_LABEL: Final = {
    "font-family": FONT,
    "font-size": "14",
    "stroke": PAPER,
    "stroke-width": "3",
    "paint-order": "stroke",
    "stroke-linejoin": "round",
}
STYLES: Final[Mapping[str, Mapping[str, str]]] = {
    "text": {"fill": INK, "font-family": FONT, "font-size": "13"},
    "text-strong": {"fill": INK, "font-family": FONT, "font-size": "13", "font-weight": "bold"},
    "text-soft": {"fill": SOFT, "font-family": FONT, "font-size": "12"},
    "text-trigger": {"fill": ROWAN, "font-family": FONT, "font-size": "12", "font-weight": "bold"},
    "grid": {"stroke": RULE, "stroke-width": "1"},
    "axis": {"stroke": SOFT, "stroke-width": "1.5"},
    "line": {"stroke": POOL, "stroke-width": "1.75", "fill": "none", "stroke-linejoin": "round"},
    "bounds": {"stroke": SOFT, "stroke-width": "1.25"},
    "trigger": {"stroke": ROWAN, "stroke-width": "2.25", "stroke-dasharray": "9 4 3 4", "fill": "none"},
    "window": {"fill": WASH},
    "normal": {"fill": POOL, "stroke": PAPER, "stroke-width": "1"},
    "below": {"fill": ROWAN, "stroke": PAPER, "stroke-width": "1"},
    "nonstandard": {"fill": PAPER, "stroke": POOL, "stroke-width": "2"},
    "untested": {"fill": PAPER, "stroke": POOL, "stroke-width": "2"},
    "unscored": {"fill": "none", "stroke": SOFT, "stroke-width": "2"},
    "earlier": {"fill": PAPER, "stroke": SOFT, "stroke-width": "1.25"},
    "middle": {"stroke": INK, "stroke-width": "3.5"},
    "center": {"stroke": INK, "stroke-width": "1.25", "fill": "none"},
    "river": {"stroke": POOL, "stroke-width": "3", "fill": "none", "stroke-linejoin": "round"},
    "stretch": {"stroke": ROWAN, "stroke-width": "14", "stroke-dasharray": "2.5 3.5", "fill": "none"},
    "here": {"stroke": INK, "stroke-width": "2", "fill": PAPER},
    "spread": {"fill": WASH, "stroke": SOFT, "stroke-width": "1"},
    "unvisited": {"stroke": SOFT, "stroke-width": "2", "stroke-dasharray": "3 2", "fill": PAPER},
    "old": {"stroke": INK, "stroke-width": "1.25", "stroke-dasharray": "2 2", "fill": "none"},
    "aside": {"fill": SOFT},
    "reach": {"fill": "none", "stroke": "none", "pointer-events": "all"},
    # A halo, because below may lie a river or the picture of a tile.
    "text-map": {**_LABEL, "fill": INK, "font-weight": "bold"},
    "text-river": {**_LABEL, "fill": POOL, "font-style": "italic"},
    "limit": {"stroke": SOFT, "stroke-width": "1.75", "stroke-dasharray": "5 4", "fill": "none"},
}

# Everything outside XML's own Char production; a pasted title may hold any of it.
NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

_SIZE: Final = re.compile(r'<svg [^>]*?width="([\d.]+)" height="([\d.]+)"')


class Drawing(str):
    """SVG text whose every outside word has been escaped, so a template may set it as it is."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


def number(value: float) -> str:
    """A coordinate to a hundredth of a pixel, without idle zeros, so that equal charts are equal bytes."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def clean(text: str) -> str:
    """The text without characters that XML cannot hold."""
    return NOT_XML.sub("", text)


def canvas(width: float, height: float, *, title: str, desc: str, lang: str, kind: str) -> Element:
    """An empty drawing that is an image with a name to a screen reader, to a browser and to PDF/UA alike.

    ``title`` must come first and as a child: browsers and WeasyPrint both take the alternative text from there.
    """
    size = {
        "width": number(width),
        "height": number(height),
        "viewBox": f"0 0 {number(width)} {number(height)}",
    }
    root = Element(
        "svg", {"xmlns": "http://www.w3.org/2000/svg", "role": "img", "class": f"rb-chart rb-chart-{kind}"}
    )
    root.attrib.update(size)
    root.set("xml:lang", lang)
    SubElement(root, "title").text = clean(title)
    SubElement(root, "desc").text = clean(desc)
    return root


def put(parent: Element, tag: str, style: str, **attributes: float | str) -> Element:
    """One element of that style; underscores in attribute names become hyphens, numbers are rounded."""
    element = SubElement(parent, tag, {"class": f"rb-{style}", **STYLES[style]})
    for name, value in attributes.items():
        element.set(name.replace("_", "-"), value if isinstance(value, str) else number(value))
    return element


def write(
    parent: Element, x: float, y: float, text: str, style: str = "text", anchor: str = "start"
) -> Element:
    """A line of text with its baseline at ``y``; ``anchor`` is start, middle or end."""
    element = put(parent, "text", style, x=x, y=y, text_anchor=anchor)
    element.text = clean(text)
    return element


def text_width(text: str, size: float = 12) -> float:
    """Roughly how wide a text will be, in pixels: no font is at hand, so it errs on the wide side."""
    return 0.62 * size * len(text)


def stacked(*drawings: Drawing, gap: float = 12) -> Drawing:
    """Drawings below each other as one, as wide as the widest; each keeps its own title."""
    sizes = [[float(each) for each in _SIZE.findall(drawing)[0]] for drawing in drawings]
    width = max(size[0] for size in sizes)
    height = sum(size[1] for size in sizes) + gap * (len(sizes) - 1)
    parts, top = [], 0.0
    for drawing, size in zip(drawings, sizes, strict=True):
        # Clipped, each would be painted on a canvas of its own first, which takes longer than all the rest.
        shown = drawing.replace("<svg ", '<svg overflow="visible" ', 1)
        parts.append(f'<g transform="translate(0 {number(top)})">{shown}</g>')
        top += size[1] + gap
    box = f'width="{number(width)}" height="{number(height)}" viewBox="0 0 {number(width)} {number(height)}"'
    return Drawing(f'<svg xmlns="http://www.w3.org/2000/svg" {box}>{"".join(parts)}</svg>')


def finish(root: Element) -> Drawing:
    """The drawing as text."""
    return Drawing(tostring(root, encoding="unicode"))
