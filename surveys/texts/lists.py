"""Lists of texts that stand in tables and data files, for tools that collect what is to be translated.

Such tools read Python and templates only. `source_of` writes a module for each list; `make messages` does it,
and a test holds the modules to the files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from surveys.identification import load_drawings, load_key
from surveys.texts.told import method_words, taxon_words

HEAD = '''"""{about}, for tools that collect texts to be translated.

Written by `make messages` and held to its sources by a test: change those, not this file.
"""

# A text a line, however long.
# ruff: noqa: E501
# fmt: off
from django.utils.translation import gettext_noop

TEXTS = (
'''


def key_questions() -> Iterator[str]:
    """What the identification key asks, and the answers to choose from."""
    for step in load_key().steps.values():
        yield from (step.question, step.help, *(choice.text for choice in step.choices))


def key_ends() -> Iterator[str]:
    """What the key says of the taxa that it leads to."""
    for end in load_key().ends.values():
        yield from (end.marks, end.beware, end.care)


def key_drawings() -> Iterator[str]:
    """What the drawings of the key show."""
    return (drawing.title for drawing in load_drawings().values())


# By the name of the module beside this one: what it says of itself, and its texts.
LISTS: Mapping[str, tuple[str, Callable[[], Iterator[str]]]] = {
    "methods": ("The words of scoring's methods", method_words),
    "taxa": ("Common names of taxa and notes on rows of tables", taxon_words),
    "key_questions": ("Questions and answers of the identification key", key_questions),
    "key_ends": ("What the identification key says of each taxon", key_ends),
    "key_drawings": ("What the drawings of the identification key show", key_drawings),
}


def source_of(name: str) -> str:
    """What the module of this name has to hold: each text once, in the order of its sources."""
    about, words = LISTS[name]
    return HEAD.format(about=about) + "".join(map(_entry, dict.fromkeys(filter(None, words())))) + ")\n"


def _entry(text: str) -> str:
    quoted = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'    gettext_noop("{quoted}"),\n'
