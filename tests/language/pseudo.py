"""A language made up for tests: every text that is marked for translation comes out in brackets.

What a page then shows outside brackets, and is no data, was never marked.
"""

from __future__ import annotations

import gettext
from collections.abc import Iterator
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
OPEN, CLOSE = "⟦", "⟧"


class Brackets(gettext.NullTranslations):
    """A catalogue with every text in it."""

    domain = "django"

    def language(self) -> str:
        return PSEUDO

    def to_language(self) -> str:
        return PSEUDO

    def gettext(self, message: str) -> str:
        return f"{OPEN}{message}{CLOSE}"

    def pgettext(self, context: str, message: str) -> str:
        return self.gettext(message)

    def ngettext(self, one: str, many: str, number: Any) -> str:
        return self.gettext(one if number == 1 else many)

    def npgettext(self, context: str, one: str, many: str, number: Any) -> str:
        return self.ngettext(one, many, number)


def _bracketed(words: Words) -> Words:
    """Charts know no catalogue: their words have a row for each language."""
    texts = {each.name: getattr(words, each.name) for each in fields(words) if each.name != "lang"}
    marked = {
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
        catalogues[PSEUDO] = Brackets()
        charts = patch.dict(LANGUAGES, {PSEUDO: _bracketed(ENGLISH)})  # type: ignore[arg-type]
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
