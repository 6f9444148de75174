"""The hash chain over the audit trail and the database's own history, as pure functions.

Every row that is sealed has a link, numbered from 1 without a gap. Anybody can recompute all of it:

    digest = SHA-256(canonical JSON of the row in its sealed form, see `sealed_entry` and `sealed_change`)
    seal   = SHA-256(seal of the link before + canonical JSON of {"digest": digest, "number": number})

The first link stands on an empty seal. Canonical JSON has its keys in order, no spaces, letters as they are, in
UTF-8; times are UTC to the microsecond; digests and seals are 64 hexadecimal digits. What may hold a name
stands in the sealed form as the digest of that part (`parts.part_digest`), so that it can be lawfully taken
out.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from typing import Any

from portal.audit.models import AuditEntry, RowChange
from portal.audit.parts import PARTS, ROW_PARTS, canonical, part_digest

# What stands before the first link.
NO_SEAL = ""
# A key may bear the name of whoever uses it.
ENTRY_PARTS = (*PARTS, "way_detail")


def digest_of(text: str) -> str:
    """SHA-256 of the text in UTF-8."""
    return hashlib.sha256(text.encode()).hexdigest()


def moment(at: datetime) -> str:
    """A time in UTC to the microsecond: "2030-01-31T09:05:00.000000Z"."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def sealed_entry(entry: AuditEntry) -> dict[str, Any]:
    """An entry as it is hashed; numbers of rows that are not there are empty."""
    return {
        "row": "entry",
        "id": str(entry.pk),
        "at": moment(entry.at),
        "group": str(entry.group_id or ""),
        "actor": str(entry.actor_id or ""),
        "verb": entry.verb,
        "object_type": entry.object_type,
        "object_id": str(entry.object_id),
        "transaction": entry.transaction or "",
        "way": entry.way,
        **{part: part_digest(entry, part) for part in ENTRY_PARTS},
    }


def sealed_change(change: RowChange) -> dict[str, Any]:
    """A row of the database's own history as it is hashed."""
    return {
        "row": "change",
        "id": change.pk,
        "at": moment(change.at),
        "transaction": change.transaction,
        "table": change.table,
        "row_id": change.row,
        "parent": change.parent,
        "operation": change.operation,
        "database_user": change.database_user,
        **{part: part_digest(change, part) for part in ROW_PARTS},
    }


def row_digest(row: AuditEntry | RowChange) -> str:
    """The digest that a row's link carries."""
    form = sealed_entry(row) if isinstance(row, AuditEntry) else sealed_change(row)
    return digest_of(canonical(form))


def seal_of(previous: str, number: int, digest: str) -> str:
    """The seal of a link, after the seal of the link before."""
    return digest_of(previous + canonical({"digest": digest, "number": number}))
