"""The identifier of a published report: rifflebook:alder-beck.2025.1-47, whose last two digits check the rest.

The check digits are those of ISO 7064, MOD 97-10: digits count as they are and letters from 10 to 35, as in
bank account numbers (ISO 13616); hyphen, underscore and stop, which those do not have, count 36 to 38.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

PREFIX = "rifflebook:"
_ORDER = "0123456789abcdefghijklmnopqrstuvwxyz-_."


def identifier_of(slug: str, year: int, edition: int) -> str:
    """The identifier of that edition; the slug is taken in lower case."""
    body = f"{slug.lower()}.{year}.{edition}"
    return f"{PREFIX}{body}-{98 - _remainder(body + '00'):02d}"


def is_sound(identifier: str) -> bool:
    """Whether the check digits fit, so that a mistyped identifier is told from an unknown one."""
    body, dash, digits = identifier.lower().removeprefix(PREFIX).rpartition("-")
    typed = body + digits
    is_written_well = bool(body and dash) and len(digits) == 2 and digits.isascii() and digits.isdigit()
    return is_written_well and set(typed) <= set(_ORDER) and _remainder(typed) == 1


def _remainder(text: str) -> int:
    return int("".join(str(_ORDER.index(sign)) for sign in text)) % 97


def frozen_text(figures: Mapping[str, Any]) -> str:
    """The figures as JSON in one way only, so that equal figures give equal bytes."""
    return json.dumps(figures, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def digest_of(figures: Mapping[str, Any]) -> str:
    """SHA-256 of the frozen figures, in hexadecimal."""
    return hashlib.sha256(frozen_text(figures).encode()).hexdigest()
