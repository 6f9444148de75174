"""Cells as text, without what no spreadsheet file can hold."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from decimal import Decimal

from surveys.exporting.tables import Cell
from surveys.submission.numbers import plain_text

# No spreadsheet file can hold these, and no text of ours needs them.
_UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def writable(text: str) -> str:
    """The text without control characters other than tabs and line ends."""
    return _UNWRITABLE.sub("", text)


def as_text(cell: Cell) -> str:
    """A cell as it stands in a CSV, with a decimal point and ISO dates; text is not yet disarmed."""
    match cell:
        case None:
            return ""
        case bool():
            return "yes" if cell else "no"
        case Decimal():
            return plain_text(cell)
        case float():
            return f"{cell:.6f}".rstrip("0").rstrip(".")
        case datetime():
            return cell.isoformat(timespec="seconds")
        case date():
            return cell.isoformat()
        case time():
            return cell.isoformat(timespec="minutes")
        case _:
            return writable(str(cell))


def as_json(cell: Cell) -> str | int | float | bool | None:
    """A cell as a value of JSON: numbers stay numbers, dates and times become ISO text."""
    match cell:
        case Decimal():
            return float(cell)
        case float():
            return round(cell, 6)
        case None | bool() | int():
            return cell
        case _:
            return as_text(cell)
