"""The forms of rendered pages: where each is sent, and what a browser would send if nobody touched it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urljoin, urlsplit

from django.urls import Resolver404, resolve

Pair = tuple[str, str]
# What somebody might write where nothing stands yet, by the kind of field: deep code asks for a whole form.
PLAUSIBLE = {
    "date": "2026-11-20",
    "datetime-local": "2026-12-20T10:00",
    "time": "10:00",
    "number": "3",
    "email": "una@rivers.example",
    "tel": "01632 960001",
    "url": "https://rivers.example/",
    "password": "three unrelated words",
    "hidden": "",
}
UNSENT = {"submit", "button", "reset", "image"}


@dataclass
class Form:
    """One form; `options` are the values that its choices offer, `files` the names of its uploads."""

    action: str
    method: str
    pairs: list[Pair] = field(default_factory=list)
    options: dict[str, list[str]] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    buttons: list[Pair] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        """Every name that it may send."""
        return sorted({name for name, _value in self.pairs} | {*self.options} | {*self.files})

    @property
    def target(self) -> str:
        """The URL name that it is sent to, or nothing where that is no address of ours."""
        return name_of(self.action)


def name_of(address: str) -> str:
    try:
        return str(resolve(urlsplit(address).path).url_name)
    except (Resolver404, ValueError):
        return ""


class Reader(HTMLParser):
    """Collects `forms`, and in `queries` the names that links of the page send behind a question mark."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address, self.forms, self.queries = address, list[Form](), set[Pair]()
        self._form: Form | None = None
        self._list: tuple[str, bool] = ("", False)
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = urljoin(self.address, given.get("action", "") or self.address)
            self._form = Form(action, given.get("method", "get").lower())
            self.forms.append(self._form)
        elif tag == "a" and "?" in given.get("href", ""):
            target = urljoin(self.address, given["href"])
            self.queries |= {(name_of(target), name) for name, _value in parse_qsl(urlsplit(target).query)}
        elif self._form is not None:
            self._read_control(self._form, tag, given)

    def _read_control(self, form: Form, tag: str, given: dict[str, str]) -> None:
        name = given.get("name", "")
        if tag == "option" and self._list[0]:
            form.options.setdefault(self._list[0], []).append(given.get("value", ""))
            if "selected" in given:
                form.pairs.append((self._list[0], given.get("value", "")))
        elif tag == "select":
            self._list = (name, "multiple" in given)
        elif tag == "textarea" and name:
            self._text = name
            form.pairs.append((name, ""))
        elif tag == "button" and name:
            form.buttons.append((name, given.get("value", "")))
        elif tag == "input" and name and given.get("type") not in UNSENT:
            self._read_input(form, name, given)

    def _read_input(self, form: Form, name: str, given: dict[str, str]) -> None:
        kind = given.get("type", "text")
        if kind == "file":
            form.files.append(name)
        elif kind in ("checkbox", "radio"):
            form.options.setdefault(name, []).append(given.get("value", "on"))
            if "checked" in given:
                form.pairs.append((name, given.get("value", "on")))
        elif name != "csrfmiddlewaretoken":
            form.pairs.append((name, given.get("value", "") or PLAUSIBLE.get(kind, "Agreed.")))

    def handle_data(self, data: str) -> None:
        if self._text and self._form is not None:
            self._form.pairs[-1] = (self._text, self._form.pairs[-1][1] + data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._list = ("", False)
        elif tag == "textarea":
            self._text = ""


def read_page(address: str, text: str) -> Reader:
    reader = Reader(address)
    reader.feed(text)
    return reader


def by_target(readers: Iterable[Reader], method: str) -> dict[str, Form]:
    """The fullest form of each URL name that forms of this method are sent to."""
    found: dict[str, Form] = {}
    for form in _forms(readers):
        known = found.get(form.target)
        if form.method == method and form.target and (known is None or len(form.names) > len(known.names)):
            found[form.target] = form
    return found


def _forms(readers: Iterable[Reader]) -> Iterator[Form]:
    for reader in readers:
        yield from reader.forms
