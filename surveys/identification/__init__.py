"""The identification key "What is it?": data in TOML, drawings in SVG, and pure functions that read both.

`SOURCES.md` says where the facts come from and how far they were checked. Texts are in English and are
translated where they are shown.
"""

from surveys.identification.drawings import Drawing, load_drawings
from surveys.identification.reading import InvalidKey, load_key, read_key
from surveys.identification.types import Choice, End, Key, Source, Step, Turn, Way

__all__ = [
    "Choice",
    "Drawing",
    "End",
    "InvalidKey",
    "Key",
    "Source",
    "Step",
    "Turn",
    "Way",
    "load_drawings",
    "load_key",
    "read_key",
]
