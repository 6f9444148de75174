"""What a reader is shown of a page or a mail, and which words of it were never marked for translation."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser

from django.apps import apps
from django.db import connection
from django.db.models import Model

from tests.language.pseudo import outside

UNREAD = {"script", "style", "code", "template"}
READ_ALOUD = {"alt", "title", "aria-label", "placeholder", "aria-description", "content", "label"}
# Words that are the same in every language, or no words: the product, units, codes of methods and of formats.
SAME = {
    "rifflebook", "english", "bracketish", "wgs84", "wgs", "csv", "xlsx", "geojson", "json", "pdf", "http",
    "https", "get", "post", "put", "patch", "delete", "api", "openapi", "ntu", "fnu", "min", "whpt", "mean",
    "din", "ean",
}  # fmt: skip
WORD = re.compile(r"[^\W\d_]{3,}")


class _Shown(HTMLParser):
    """Texts and spoken attributes; what is marked as being in a language of its own is left out."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.unread = 0
        self.open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        own = tag in UNREAD or (tag != "html" and "lang" in given)
        if tag not in VOID:
            self.open.append((tag, own))
            self.unread += own
        if not self.unread and (tag != "meta" or given.get("name") == "description"):
            self.texts += [value for name, value in attrs if name in READ_ALOUD and value]
        if tag == "input" and given.get("type") in ("submit", "button"):
            self.texts.append(given.get("value") or "")

    def handle_endtag(self, tag: str) -> None:
        while self.open:
            name, own = self.open.pop()
            self.unread -= own
            if name == tag:
                return

    def handle_data(self, data: str) -> None:
        if not self.unread:
            self.texts.append(data)


VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


def shown_texts(page: str) -> list[str]:
    """Every text of an HTML page that is seen or read aloud."""
    shown = _Shown()
    shown.feed(page)
    return [text for text in shown.texts if text.strip()]


def unmarked_words(texts: Iterable[str], data: frozenset[str]) -> set[str]:
    """Words outside brackets that are no data; with the text they stand in."""
    found = set()
    # Brackets may be opened in one piece of a page and closed in the next, with a tag between.
    for text in "\n".join(outside("\0".join(texts)).split("\0")).splitlines():
        strange = [word for word in WORD.findall(text) if word.lower() not in SAME and word.lower() not in data]
        if strange:
            found.add(f"{' '.join(strange)}: {' '.join(text.split())[:90]}")
    return found


def words_of_the_data(besides: Iterable[type[Model]] = ()) -> frozenset[str]:
    """Every word that stands in a text column of the database: names, codes, notes, addresses.

    A text that was stored in brackets was put into words by the portal and is no data.
    """
    return frozenset(word.lower() for text in _texts(set(besides)) for word in WORD.findall(outside(text)))


def _texts(besides: set[type[Model]]) -> Iterator[str]:
    with connection.cursor() as cursor:
        for model in set(apps.get_models(include_auto_created=True)) - besides:
            columns = [
                field.column for field in model._meta.concrete_fields if _is_text(field.get_internal_type())
            ]
            if columns and model._meta.managed:
                names = ", ".join(f'"{column}"::text' for column in columns)
                cursor.execute(f'SELECT {names} FROM "{model._meta.db_table}"')
                yield from (text for row in cursor.fetchall() for text in row if text)


def _is_text(kind: str) -> bool:
    return kind in ("CharField", "TextField", "EmailField", "SlugField", "JSONField", "FileField", "URLField")
