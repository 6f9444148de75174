"""A list of leaked passwords as a file on this machine: SHA-1 digests in order, found by halving.

One line for each password: forty hexadecimal digits, and whatever else after a colon (how often it was found,
say). Lists of this form are published; one of a thousand million lines is read in some thirty steps.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from hashlib import sha1
from itertools import pairwise
from typing import BinaryIO

DIGEST = re.compile(rb"[0-9A-Fa-f]{40}(:[^\r\n]*)?\r?\n?")
LOOKED_AT = 200


def is_breached(password: str, path: str) -> bool:
    """Whether the list at `path` has the password; raises OSError where it cannot be read."""
    wanted = sha1(password.encode("utf-8", "surrogatepass"), usedforsecurity=False).hexdigest().upper().encode()
    with open(path, "rb") as lines:
        low, high = 0, os.fstat(lines.fileno()).st_size
        while low < high:
            middle = (low + high) // 2
            found = _line_after(lines, middle)
            if found and found < wanted:
                low = lines.tell()
            else:
                high = middle
        lines.seek(low)
        return _digest_of(lines.readline()) == wanted


def _line_after(lines: BinaryIO, place: int) -> bytes:
    """The digest of the first line that begins at `place` or after it; empty at the end of the file."""
    lines.seek(max(0, place - 1))
    if place:
        lines.readline()
    return _digest_of(lines.readline())


def _digest_of(line: bytes) -> bytes:
    return line[:40].strip().upper()


def trouble_with(path: str) -> str:
    """What is wrong with a list, from its first lines; empty where nothing is."""
    try:
        with open(path, "rb") as lines:
            first = [line for _number, line in zip(range(LOOKED_AT), lines, strict=False)]
    except OSError as problem:
        return str(problem.strerror)
    if not first or not all(DIGEST.fullmatch(line) for line in first):
        return "its lines are no SHA-1 digests"
    return "" if all(_in_order(first)) else "its lines are not in order"


def _in_order(lines: list[bytes]) -> Iterator[bool]:
    yield from (_digest_of(before) <= _digest_of(after) for before, after in pairwise(lines))
