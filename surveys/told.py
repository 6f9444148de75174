"""The texts of scoring in the reader's language: method stories, and sentences with figures put into them.

Scoring knows no language. What its tables say is listed for translators in `surveys.method_texts`, which
`catalogue_source` writes and a test holds to the tables; its sentences are marked in `scoring.sentences`. A
sentence that comes back from the database is recognised by its template and put together anew.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from textwrap import wrap

from django.utils.functional import lazy
from django.utils.translation import gettext

from scoring.agreement import THRESHOLDS
from scoring.indices import METHODS
from scoring.sentences import SENTENCES
from scoring.tables import read_table

FIELD = re.compile(r"\{(\w+)\}")
STORY = ("name", "title", "formula", "source", "verified", "level", "responds_to")
MORE = ("limits", "unit", "higher_is")
# Columns of tables whose cells are words and not names.
WORDS = {
    "fbi_classes": ("class", "degree"),
    "epa_bands": ("band",),
    "bankside": ("label",),
    "agreement": ("note",),
}
# What fits behind `gettext_noop(` and on a line of its own.
SHORT, WIDTH = 91, 102
HEAD = '''"""The words of scoring's tables, for tools that collect texts to be translated.

Written by `surveys.told.catalogue_source` and held to the tables by a test: change the tables, not this file.
"""

from django.utils.translation import gettext_noop

TEXTS = (
'''


def told(text: str) -> str:
    """The text of scoring in the reader's language; what is none of its texts is returned as it is."""
    if text in method_texts() or text in SENTENCES:
        return gettext(text)
    for template, pattern in _patterns():
        found = pattern.fullmatch(text)
        if found:
            # A word in its place is translated too: "rising" in a sentence about the baseline.
            return gettext(template).format(**{name: told(part) for name, part in found.groupdict().items()})
    return text


def label_of(index: str) -> str:
    """What an index is called where one is chosen: short name and title."""
    return f"{told(METHODS[index].name)}: {told(METHODS[index].title)}"


label_lazy = lazy(label_of, str)


@cache
def method_texts() -> frozenset[str]:
    """Every text of the tables that a reader is shown."""
    return frozenset(_texts())


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    with_fields = sorted((text for text in SENTENCES if FIELD.search(text)), key=len, reverse=True)
    return tuple((text, _pattern(text)) for text in with_fields)


def _pattern(template: str) -> re.Pattern[str]:
    parts = FIELD.split(template)
    # Odd places hold the names of the fields.
    pieces = (f"(?P<{part}>.+?)" if at % 2 else re.escape(part) for at, part in enumerate(parts))
    return re.compile("".join(pieces), re.DOTALL)


def _texts() -> Iterator[str]:
    for method in METHODS.values():
        yield from (getattr(method, part) for part in (*STORY, *MORE))
    for table, columns in WORDS.items():
        yield from (row[column] for row in read_table(table) for column in columns if row[column])
    for threshold in THRESHOLDS.values():
        yield from (threshold.source, threshold.status)


def catalogue_source() -> str:
    """What `surveys/method_texts.py` has to hold: each text once, in the order of the tables."""
    return HEAD + "".join(map(_entry, dict.fromkeys(_texts()))) + ")\n"


def _entry(text: str) -> str:
    if len(text) <= SHORT:
        return f"    gettext_noop({_quoted(text)}),\n"
    return "    gettext_noop(\n" + "".join(f"        {_quoted(line)}\n" for line in _lines(text)) + "    ),\n"


def _quoted(line: str) -> str:
    return '"' + line.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _lines(text: str) -> list[str]:
    # Broken at spaces, which stay at the end of a line: the pieces join to the text again.
    lines = (
        [text] if len(text) <= WIDTH else wrap(text, WIDTH - 1, break_long_words=False, break_on_hyphens=False)
    )
    return [f"{line} " for line in lines[:-1]] + lines[-1:]
