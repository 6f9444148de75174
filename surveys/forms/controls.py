"""Which control of the form a problem speaks of, for whoever filled the form in without the portal's help."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from surveys.forms.counts import WHOLE_TRAY
from surveys.forms.entry import SECTIONS, name_of, taxon_of

Posted = Mapping[str, str]
# What fills a row of counts beside its name.
AMOUNTS = ("count", "range", "none", "key")


def control_of(path: str, post: Posted) -> str:
    """The name of the control that holds the field at `path`; for a part of the form as a whole, its id.

    `post` are the flat names and values as the form sent them: a taxon may stand in any of several rows.
    """
    if path in SECTIONS:
        return SECTIONS[path][0]
    if taxon_of(path) is None:
        return name_of(path)
    kind, _dot, written = path.partition(".")
    prefixes = ("whole-",) if kind == WHOLE_TRAY else ("counts-", "other-")
    if not written:
        return next(_nameless_rows(post, prefixes), SECTIONS["counts"][0])
    return next(_rows_of(written, post, prefixes), f"counts-{written}-count")


def _nameless_rows(post: Posted, prefixes: tuple[str, ...]) -> Iterator[str]:
    for name in _names_in(post, prefixes, ("-name",)):
        row = name.rpartition("-")[0]
        if not post[name].strip() and any(post.get(f"{row}-{part}") for part in AMOUNTS):
            yield name


def _rows_of(written: str, post: Posted, prefixes: tuple[str, ...]) -> Iterator[str]:
    for name in _names_in(post, prefixes, ("-name", "-as")):
        if post[name].strip() == written:
            yield f"{name.rpartition('-')[0]}-count"


def _names_in(post: Posted, prefixes: tuple[str, ...], endings: tuple[str, ...]) -> Iterator[str]:
    yield from (name for name in post if name.startswith(prefixes) and name.endswith(endings))
