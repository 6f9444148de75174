"""The texts of scoring in the reader's language: method stories, names of taxa, sentences with figures in them.

Scoring knows no language. What its tables say is listed for translators by `surveys.texts.lists`; its sentences
are marked in `scoring.sentences`. A sentence that comes back from the database is recognised by its template
and put together anew.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from django.utils.functional import lazy
from django.utils.translation import gettext

from scoring.agreement import THRESHOLDS
from scoring.indices import METHODS
from scoring.sentences import SENTENCES
from scoring.tables import read_table
from scoring.taxa import all_taxa

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
# How far the rows of a table are verified, and what is said of single rows.
NOTED = (
    *("agreement", "bankside", "bmwp", "epa_bands", "epa_taxa", "epa_weights", "fbi", "fbi_classes"),
    *("genera", "ranges", "status_limits", "taxa", "whpt"),
)


def told(text: str) -> str:
    """The text of scoring in the reader's language; what is none of its texts is returned as it is."""
    if text in table_texts() or text in SENTENCES:
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
def table_texts() -> frozenset[str]:
    """Every text of the tables that a reader is shown."""
    return frozenset((*method_words(), *taxon_words()))


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    with_fields = sorted((text for text in SENTENCES if FIELD.search(text)), key=len, reverse=True)
    return tuple((text, _pattern(text)) for text in with_fields)


def _pattern(template: str) -> re.Pattern[str]:
    parts = FIELD.split(template)
    # Odd places hold the names of the fields.
    pieces = (f"(?P<{part}>.+?)" if at % 2 else re.escape(part) for at, part in enumerate(parts))
    return re.compile("".join(pieces), re.DOTALL)


def method_words() -> Iterator[str]:
    """The stories of the methods, and the words of their classes, ratings and thresholds."""
    for method in METHODS.values():
        yield from (getattr(method, part) for part in (*STORY, *MORE))
    for table, columns in WORDS.items():
        yield from (row[column] for row in read_table(table) for column in columns if row[column])
    for threshold in THRESHOLDS.values():
        yield from (threshold.source, threshold.status)


def taxon_words() -> Iterator[str]:
    """Common names of taxa as they begin a line, and what is noted of single rows of the tables."""
    yield from (taxon.english.capitalize() for taxon in all_taxa() if taxon.english)
    for table in NOTED:
        yield from (text for row in read_table(table) for text in (row["status"], row.get("note", "")) if text)
