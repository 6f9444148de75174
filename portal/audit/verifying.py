"""Is the trail as it was sealed? Walks the chain in pieces and says in words what is broken first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from portal.accounts.walls import wide
from portal.audit.breaks import Break, Kind, misplaced, missing_link, unsealed_row, wrong_row, wrong_seal
from portal.audit.links import row_digest, seal_of
from portal.audit.models import AuditEntry, Link, RowChange, Waiting
from portal.audit.sealing import Head, Unsealed, all_entries, head, rows_of, unsealed

# Links read at once: memory is bounded by it, however long the chain.
PIECE = 2_000
Row = AuditEntry | RowChange


@dataclass(frozen=True)
class Witness:
    """Somebody outside the chain who has once seen its end: a published report, a backup, a line of a log."""

    name: str
    head: Head


@dataclass
class Verified:
    """What the check has found; `broken` is the first break, None where there is none.

    `links` were walked, after `start`; `erased` rows had a part taken out, which leaves its digest.
    """

    start: Head
    end: Head
    waiting: Unsealed
    links: int = 0
    erased: int = 0
    witnesses: int = 0
    broken: Break | None = None


_witnesses: list[Callable[[], Iterable[Witness]]] = []


def ask_witnesses(source: Callable[[], Iterable[Witness]]) -> None:
    """Let an app above name the heads that it keeps."""
    _witnesses.append(source)


@wide("the chain holds all groups' entries")
def verify_trail(start: Head | None = None, seen: Iterable[Witness] = ()) -> Verified:
    """Check the chain after `start`, a head known to be good, and hold it against those who have `seen` it."""
    found = Verified(start or Head(), head(), unsealed())
    found.broken = next(_breaks(found, list(seen)), None)
    return found


def _breaks(found: Verified, seen: list[Witness]) -> Iterator[Break]:
    if found.start.number:
        yield from _held_against(Witness("The head that you start from", found.start))
    yield from _walk(found)
    for witness in [*seen, *(each for source in _witnesses for each in source())]:
        found.witnesses += 1
        yield from _held_against(witness)
    yield from _left_out()


def _held_against(witness: Witness) -> Iterator[Break]:
    link = Link.objects.filter(number=witness.head.number).first()
    if link is None:
        words = f"{witness.name} knows of link {witness.head.number}, which is gone: the end was cut off."
        yield Break(witness.head.number, Kind.CUT, words)
    elif link.seal != witness.head.seal:
        words = f"Link {link.number} is not the one that {witness.name} has seen: the chain was made anew."
        yield Break(link.number, Kind.REWRITTEN, words)


def _walk(found: Verified) -> Iterator[Break]:
    before = found.start
    while links := list(Link.objects.filter(number__gt=before.number).order_by("number")[:PIECE]):
        rows = rows_of(links)
        for link in links:
            yield from _link(before, link, rows)
            before = Head(link.number, link.seal)
            found.links += 1
        found.erased += sum(bool(each.erased) for each in rows.values())


def _link(before: Head, link: Link, rows: Mapping[Any, Row]) -> Iterator[Break]:
    expected = before.number + 1
    if link.number != expected:
        yield missing_link(expected, link)
    if link.seal != seal_of(before.seal, link.number, link.digest):
        yield misplaced(before, link) or wrong_seal(link)
    row = rows.get(link.entry or link.change)
    if row is None or row_digest(row) != link.digest:
        yield wrong_row(link, row)


def _left_out() -> Iterator[Break]:
    """Rows that are neither sealed nor waiting, and waiting ones that are gone; in one query for each table."""
    for rows, name in ((all_entries().order_by("at"), "entry"), (RowChange.objects.all(), "change")):
        row = rows.filter(~_named_in(Link, name), ~_named_in(Waiting, name)).first()
        if row is not None:
            yield unsealed_row(row)
    for model, name in ((AuditEntry, "entry"), (RowChange, "change")):
        gone = _gone(model, name).first()
        if gone:
            words = (
                f"A row that was written on {gone.since:%d %B %Y, %H:%M} UTC was removed before it was sealed."
            )
            yield Break(None, Kind.REMOVED, words)


def _named_in(model: type[Link | Waiting], name: str) -> Exists:
    return Exists(model.objects.filter(**{name: OuterRef("pk")}))


def _gone(model: type[Row], name: str) -> QuerySet[Waiting]:
    rows = all_entries() if model is AuditEntry else RowChange.objects.all()
    there = Exists(rows.order_by().filter(pk=OuterRef(name)))
    return Waiting.objects.filter(~there, **{f"{name}__isnull": False}).order_by("id")
