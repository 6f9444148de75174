"""What of the trail may be taken out when somebody is erased, and the digest that proves that it stood there.

A part is what may hold a name: who acted, what changed, why. Whoever seals an entry seals the digests of its
parts, never their words. A part taken out leaves its digest in `erased`, so that every seal still holds.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any, Protocol

PARTS = ("actor_name", "changes", "reason")
ROW_PARTS = ("before", "after")
# Made once: a trail of a hundred thousand rows asks for half a million texts.
_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


class Sealed(Protocol):
    """A row with parts: an `AuditEntry`, a `RowChange`, a step of an incident."""

    pk: Any
    erased: Any


def canonical(value: Any) -> str:
    """JSON that is the same for everybody: keys in order, no spaces, letters as they are."""
    return _CANONICAL.encode(value)


def part_digest(row: Sealed, part: str) -> str:
    """SHA-256 of a part as it was written, as 64 hexadecimal digits, whether it still stands there or not.

    The salt is made of the row's number, so that equal words of two rows do not look alike.
    """
    kept = row.erased.get(part)
    return str(kept) if kept else _digest(canonical([_digest(f"{row.pk}:{part}"), getattr(row, part)]))


def take_out(row: Sealed, part: str, instead: Any) -> None:
    """Put `instead` in the place of a part, and keep the digest of what was written first; saves nothing."""
    row.erased = {**row.erased, part: part_digest(row, part)}
    setattr(row, part, instead)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
