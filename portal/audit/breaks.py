"""What is broken in the chain, told apart by its kind, in words for whoever has to look for the cause."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

from portal.audit.links import row_digest, seal_of
from portal.audit.models import AuditEntry, Link, RowChange
from portal.audit.sealing import Head

Row = AuditEntry | RowChange


class Kind(StrEnum):
    ALTERED = "altered"
    REMOVED = "removed"
    INSERTED = "inserted"
    REORDERED = "reordered"
    CUT = "cut off"
    REWRITTEN = "made anew"


@dataclass(frozen=True)
class Break:
    """The first broken link: its number where it has one, what kind of break it is, and a sentence."""

    number: int | None
    kind: Kind
    words: str


def missing_link(expected: int, link: Link) -> Break:
    """A gap in the numbers."""
    last = f" to {link.number - 1}" if link.number > expected + 1 else ""
    words = (
        f"Link {expected}{last} is missing, before the one sealed on {_when(link.sealed_at)}: it was removed."
    )
    return Break(expected, Kind.REMOVED, words)


def misplaced(before: Head, link: Link) -> Break | None:
    """The link that belongs here, if it stands further on; None when there is none such."""
    later = Link.objects.filter(number__gt=link.number).order_by("number")
    for number, digest, seal in later.values_list("number", "digest", "seal").iterator():
        if seal != seal_of(before.seal, link.number, digest):
            continue
        if number == link.number + 1:
            words = (
                f"Link {link.number}, dated {_when(link.sealed_at)}, was inserted: the next one belongs here."
            )
            return Break(link.number, Kind.INSERTED, words)
        words = (
            f"Links {link.number} and {number} were reordered: link {number} belongs in the place of the other."
        )
        return Break(link.number, Kind.REORDERED, words)
    return None


def wrong_seal(link: Link) -> Break:
    """A link that does not follow from the one before."""
    words = (
        f"Link {link.number}, sealed on {_when(link.sealed_at)}, was altered: "
        "it does not follow from the one before."
    )
    return Break(link.number, Kind.ALTERED, words)


def wrong_row(link: Link, row: Row | None) -> Break:
    """A link whose row is gone, or not what was sealed."""
    if row is None:
        kind = "entry" if link.entry else "row of the history"
        words = (
            f"The {kind} of link {link.number}, sealed on {_when(link.sealed_at)}, was removed "
            f"(it had the number {link.entry or link.change})."
        )
        return Break(link.number, Kind.REMOVED, words)
    own = Link.objects.filter(digest=row_digest(row)).exclude(number=link.number).first()
    if own:
        words = f"Links {link.number} and {own.number} were reordered: each stands for the other's row."
        return Break(link.number, Kind.REORDERED, words)
    words = f"Link {link.number}: {_told(row)} was altered after it was sealed on {_when(link.sealed_at)}."
    return Break(link.number, Kind.ALTERED, words)


def unsealed_row(row: Row) -> Break:
    """A row that the database did not let wait for its seal as it was written."""
    words = (
        f"{_told(row).capitalize()} is neither sealed nor waiting for it: it was inserted with the triggers "
        "at rest, or its link was cut off."
    )
    return Break(None, Kind.INSERTED, words)


def _told(row: Row) -> str:
    if isinstance(row, AuditEntry):
        return f"the entry “{row.verb}” of {_when(row.at)} ({row.pk})"
    return f"the history of {row.table} of {_when(row.at)} (row {row.pk})"


def _when(at: datetime) -> str:
    return f"{at.astimezone(UTC):%d %B %Y, %H:%M:%S} UTC"
