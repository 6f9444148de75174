"""Sealing what was committed: in batches, by one sealer at a time, each batch whole or not at all.

Entries are not sealed as they are written: every transaction would wait for the chain's end, and one long
import would hold up everybody. The database notes each new row in `Waiting`, in the same transaction. So a row
that is committed late is simply sealed late, and a sealer that is killed has sealed nothing of its batch.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import connection, transaction
from django.db.models import Count, Min, Subquery, TextField, Value
from django.db.models.expressions import RawSQL
from django.db.models.functions import Cast, Concat
from django.utils import timezone

from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide
from portal.audit.links import NO_SEAL, row_digest, seal_of
from portal.audit.models import AuditEntry, Link, RowChange, Waiting

log = logging.getLogger(__name__)
# Rows: a batch takes a tenth of a second, and a few megabytes.
BATCH = 2_000
# Seconds that one call may go on sealing; what is left waits for the next.
AT_MOST = 40.0
# Whoever seals holds it until the end of the batch; a number of our own among advisory locks.
LOCK = 0x5EA1
ADD = "COPY audit_link (number, entry, change, digest, seal) FROM STDIN"
TAKE_OFF = "DELETE FROM audit_waiting WHERE id = ANY(%s)"
WHOLE_PORTAL = "the chain holds all groups' entries"


@dataclass(frozen=True)
class Head:
    """The end of the chain: the last link's number and seal."""

    number: int = 0
    seal: str = NO_SEAL

    def __str__(self) -> str:
        return f"{self.number}:{self.seal}"

    @classmethod
    def read(cls, text: str) -> Head:
        """A head as it is written above; raises ValueError."""
        number, _colon, seal = text.strip().partition(":")
        if not number.isdecimal() or not re.fullmatch("[0-9a-fA-F]{64}", seal):
            raise ValueError(f"{text!r} is no head of the chain.")
        return cls(int(number), seal.lower())


@dataclass(frozen=True)
class Unsealed:
    """How many rows wait, and for how many seconds the oldest of them has waited."""

    rows: int
    seconds: int


def head() -> Head:
    """Where the chain ends now (one query)."""
    last = Link.objects.order_by("-number").values_list("number", "seal").first()
    return Head(*last) if last else Head()


def written_head() -> Subquery:
    """The same as it is written, within another query; null while nothing is sealed."""
    text = Concat(Cast("number", TextField()), Value(":"), "seal", output_field=TextField())
    return Subquery(Link.objects.order_by("-number").annotate(text=text).values("text")[:1])


def unsealed() -> Unsealed:
    """What waits to be sealed (one query)."""
    found = Waiting.objects.aggregate(rows=Count("pk"), since=Min("since"))
    waited = (timezone.now() - found["since"]).total_seconds() if found["since"] else 0
    return Unsealed(found["rows"], max(0, int(waited)))


def all_entries() -> GroupOwnedQuerySet[AuditEntry]:
    """The entries of all groups."""
    return AuditEntry.objects.across_groups(WHOLE_PORTAL)


@wide("the chain holds all groups' entries")
def seal_waiting(*, patient: bool = True, at_most: float = AT_MOST) -> Head:
    """Seal what waits, for at most so many seconds; return where the chain ends then.

    While another one seals, a `patient` caller waits for its batch to end and the other leaves it to that one.
    """
    ends = time.monotonic() + at_most
    sealed = 0
    while number := seal_batch(patient):
        sealed += number
        if time.monotonic() > ends:
            break
    end = head()
    if sealed:
        # A witness outside the database, for whoever keeps the logs.
        log.info("Audit trail: sealed %d rows; the chain ends at %s.", sealed, end)
    return end


@transaction.atomic
@wide("the chain holds all groups' entries")
def seal_batch(patient: bool = True) -> int:
    """Seal one batch; return how many rows it was, 0 also when another one is at it."""
    if not _locked(patient):
        return 0
    batch = list(Waiting.objects.order_by("id")[:BATCH])
    rows = rows_of(batch)
    found = [(each, rows[key]) for each in batch if (key := each.entry or each.change) in rows]
    with connection.cursor() as cursor:
        links = list(_links(found))
        with cursor.copy(ADD) as copy:
            for link in links:
                copy.write_row(link)
        # What has gone before it was sealed is left waiting, for the check to name.
        cursor.execute(TAKE_OFF, [[each.pk for each, _row in found]])
    return len(found)


def rows_of(named: list[Any]) -> Mapping[Any, AuditEntry | RowChange]:
    """The rows that these links, or waiting ones, stand for, by their numbers (two queries)."""
    entries = all_entries().filter(pk__in=_all_of([each.entry for each in named if each.entry], "uuid"))
    changes = RowChange.objects.filter(pk__in=_all_of([each.change for each in named if each.change], "bigint"))
    found: list[AuditEntry | RowChange] = [*entries.order_by(), *changes.order_by()]
    return {each.pk: each for each in found}


def _all_of(numbers: list[Any], kind: str) -> RawSQL:
    # As one parameter: a list of as many as a batch has takes longer to write than to answer.
    return RawSQL(f"SELECT unnest(%s::{kind}[])", [numbers])  # noqa: S611 - the kinds are ours


def _links(rows: list[tuple[Waiting, AuditEntry | RowChange]]) -> Iterator[tuple[Any, ...]]:
    end = head()
    for waiting, row in rows:
        digest = row_digest(row)
        end = Head(end.number + 1, seal_of(end.seal, end.number + 1, digest))
        yield end.number, waiting.entry, waiting.change, digest, end.seal


def _locked(patient: bool) -> bool:
    with connection.cursor() as cursor:
        if patient:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
            return True
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [LOCK])
        return bool(cursor.fetchone()[0])
