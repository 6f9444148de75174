"""Bytes of a CSV as text, whichever way a spreadsheet program saved it, and what separates its cells."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

Encoding = Literal["", "utf-8", "utf-16", "windows-1252"]
SEPARATORS = (",", ";", "\t")
# Some programs say in a line of their own what separates cells; they count rows from the line after it.
_SAID = re.compile(r"sep=([,;\t])\r?\n")
_QUOTED = re.compile(r'"[^"]*"')
# A file of UTF-16 without a mark has an empty byte in nearly every pair; enough of it to tell.
_LOOKED_AT = 4_096
_NO_TEXT = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")


class Undecodable(ValueError):
    """The bytes are no text in an encoding that spreadsheet programs write; the message says so."""


@dataclass(frozen=True)
class ReadAs:
    """How a file was understood. `encoding` and `separator` are empty for a workbook, which says both."""

    kind: str = "csv"
    encoding: Encoding = ""
    separator: str = ""


def decode(content: bytes) -> tuple[str, Encoding]:
    """The text and what it was read as: UTF-8, UTF-16, or else Windows-1252. Raises Undecodable.

    Windows-1252 gives nearly every byte a letter, so it is tried last, and whoever sends the sheet is told.
    """
    for encoding, name in _candidates(content):
        try:
            text = content.decode(name)
        except UnicodeDecodeError:
            continue
        if _NO_TEXT.search(text):
            break
        return text, encoding
    raise Undecodable(_("The file is not text. Save it as “CSV UTF-8” or as XLSX."))


def _candidates(content: bytes) -> Iterator[tuple[Encoding, str]]:
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        yield "utf-16", "utf-16"
    elif content[:_LOOKED_AT].count(0) > len(content[:_LOOKED_AT]) // 4:
        # Headers are mostly plain letters: their empty bytes stand second in one order, first in the other.
        is_little = content[1:_LOOKED_AT:2].count(0) > content[:_LOOKED_AT:2].count(0)
        yield "utf-16", "utf-16-le" if is_little else "utf-16-be"
    else:
        # Spreadsheet programs put a mark before UTF-8, which would become part of the first column's name.
        yield "utf-8", "utf-8-sig"
        yield "windows-1252", "cp1252"


def separated(text: str) -> tuple[str, str]:
    """The text without a line that only says its separator, and that separator: comma, semicolon or tab."""
    said = _SAID.match(text)
    if said:
        return text[said.end() :], said[1]
    header = _QUOTED.sub("", text.partition("\n")[0])
    # Whichever the header has most of, since its names hold none of them unless they are quoted.
    return text, max(SEPARATORS, key=header.count)
