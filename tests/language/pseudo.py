"""A language made up for tests: every text that has a German translation comes out in brackets.

What a page then shows outside brackets, and is no data, was never marked, or never collected.
"""

from __future__ import annotations

import gettext
from collections.abc import Container, Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from typing import Any
from unittest.mock import patch

from django.test import override_settings
from django.utils import translation
from django.utils.translation import trans_real

from portal.charts.words import ENGLISH, LANGUAGES, Words

# A real language that the portal does not speak, so that Django has its formats of dates and numbers.
PSEUDO = "eo"
KNOWN = "de"
# Of the words of charts those that are no texts.
FORMS = {"lang", "day_form", "point"}
OPEN, CLOSE = "⟦", "⟧"


class Brackets(gettext.NullTranslations):
    """A catalogue with the texts of another, each in brackets."""

    domain = "django"

    def __init__(self, known: Container[str]) -> None:
        super().__init__()
        self.known = known

    def language(self) -> str:
        return PSEUDO

    def to_language(self) -> str:
        return PSEUDO

    def gettext(self, message: str) -> str:
        return self._bracketed(message, message)

    def pgettext(self, context: str, message: str) -> str:
        return self._bracketed(f"{context}\x04{message}", message)

    def ngettext(self, one: str, many: str, number: Any) -> str:
        return self._bracketed((one, 1), one if number == 1 else many)

    def npgettext(self, context: str, one: str, many: str, number: Any) -> str:
        return self._bracketed((f"{context}\x04{one}", 1), one if number == 1 else many)

    def _bracketed(self, key: Any, message: str) -> str:
        return f"{OPEN}{message}{CLOSE}" if key in self.known else message


def _words_in_brackets(words: Words) -> Words:
    """Charts know no catalogue: their words have a row for each language."""
    texts: dict[str, Any] = {
        each.name: getattr(words, each.name) for each in fields(words) if each.name not in FORMS
    }
    marked: dict[str, Any] = {
        name: tuple(f"{OPEN}{each}{CLOSE}" for each in text)
        if isinstance(text, tuple)
        else f"{OPEN}{text}{CLOSE}"
        for name, text in texts.items()
    }
    return replace(words, lang=PSEUDO, **marked)


@contextmanager
def everything_marked() -> Iterator[None]:
    """Inside, the made-up language is one of the portal's and is spoken."""
    languages = [("en-gb", "English"), (PSEUDO, "Bracketish")]
    with override_settings(LANGUAGES=languages):
        catalogues: dict[str, Any] = vars(trans_real)["_translations"]
        # Behind the setting, whose change makes Django forget its catalogues; another change forgets this one.
        catalogues[PSEUDO] = Brackets(vars(trans_real.translation(KNOWN))["_catalog"])
        charts = patch.dict(LANGUAGES, {PSEUDO: _words_in_brackets(ENGLISH)})
        with charts, translation.override(PSEUDO):
            yield
        catalogues.pop(PSEUDO, None)


def outside(text: str) -> str:
    """What stands outside all brackets, which may stand in each other."""
    depth, kept = 0, []
    for letter in text:
        depth += letter == OPEN
        kept.append(letter if depth == 0 else " ")
        depth -= letter == CLOSE and depth > 0
    return "".join(kept)
