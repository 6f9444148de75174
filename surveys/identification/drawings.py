"""The key's line drawings, made for this project: each an SVG file with a title that says what it shows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

# The form every file has. It is strict because the inside goes into the page as it stands.
FORM = re.compile(
    r'<svg xmlns="http://www\.w3\.org/2000/svg" viewBox="0 0 160 100"><title>(?P<title>[^<]+)</title>'
    r"(?P<inside><g [^<>]*>(?:<path [^<>]*/>)+</g>)</svg>\n"
)


class InvalidDrawing(ValueError):
    """A file is no drawing of the key."""


@dataclass(frozen=True)
class Drawing:
    """A drawing of 160 by 100 units; `inside` is the markup without its frame."""

    name: str
    title: str
    inside: str


@cache
def load_drawings() -> Mapping[str, Drawing]:
    """All drawings by name; raises InvalidDrawing."""
    found = files("surveys.identification").joinpath("drawings").iterdir()
    return {name: _load(name) for name in sorted(each.name.removesuffix(".svg") for each in found)}


def _load(name: str) -> Drawing:
    file = files("surveys.identification").joinpath("drawings", f"{name}.svg")
    return read_drawing(name, file.read_text(encoding="utf-8"))


def read_drawing(name: str, text: str) -> Drawing:
    """The drawing of that SVG text; raises InvalidDrawing."""
    match = FORM.fullmatch(text)
    if not match:
        raise InvalidDrawing(f"{name} is no drawing of the key's form.")
    return Drawing(name, match["title"], match["inside"])
