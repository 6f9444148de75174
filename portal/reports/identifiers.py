"""The identifier of a published report: rifflebook:alder-beck.2025.1-47, whose last two digits check the rest.

Each sign before them counts as two digits, 00 to 38, and the check digits are those of ISO 7064, MOD 97-10. As
no two signs differ by a multiple of 97, one wrong sign and two neighbours that changed places are always found.
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
    return f"{PREFIX}{body}-{98 - _number(body) * 100 % 97:02d}"


def is_sound(identifier: str) -> bool:
    """Whether the check digits fit, so that a mistyped identifier is told from an unknown one."""
    body, dash, digits = identifier.lower().removeprefix(PREFIX).rpartition("-")
    is_written_well = bool(dash) and len(digits) == 2 and digits.isascii() and digits.isdigit()
    is_known = bool(body) and set(body) <= set(_ORDER)
    return is_written_well and is_known and (_number(body) * 100 + int(digits)) % 97 == 1


def _number(text: str) -> int:
    return int("".join(f"{_ORDER.index(sign):02d}" for sign in text))


def frozen_text(figures: Mapping[str, Any]) -> str:
    """The figures as JSON in one way only, so that equal figures give equal bytes."""
    return json.dumps(figures, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def digest_of(figures: Mapping[str, Any]) -> str:
    """SHA-256 of the frozen figures, in hexadecimal."""
    return hashlib.sha256(frozen_text(figures).encode()).hexdigest()
