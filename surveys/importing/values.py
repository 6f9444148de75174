"""Cells as people type them, made into what a submission reads: days, figures, marks for "it was there"."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Literal

Order = Literal["ymd", "dmy", "mdy"]
_PARTS = re.compile(r"(\d{1,4})[./\- ](\d{1,2})[./\- ](\d{1,4})(?: 00:00(?::00)?)?")
_NAMED = re.compile(r"(\d{1,2})[. \-/]*([A-Za-z]{3,9})[. ,\-/]*(\d{4}|\d{2})")
_ISO = re.compile(r"\d{4}-\d\d-\d\d.*")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
# A day as spreadsheet programs store it, counted from 30 December 1899: common practice, no source. Between
# these a number stands for a day of 1954 to 2064.
_SERIAL = re.compile(r"([2-6]\d{4})(?:[.,]0+)?")
_FIRST_DAY = date(1899, 12, 30)
_THOUSANDS = re.compile(r"\d{1,3}(?:\.\d{3})+")


def read_day(text: str, order: Order, today: date) -> str:
    """A day as year-month-day; what is no day stays as it is, to be refused in words at its cell.

    Two-digit years are of this century unless that lies ahead. The bare number that a spreadsheet program keeps
    for a day is that day.
    """
    serial = _SERIAL.fullmatch(text)
    if serial:
        return (_FIRST_DAY + timedelta(days=int(serial[1]))).isoformat()
    parts = _PARTS.fullmatch(text)
    named = _NAMED.fullmatch(text)
    if _ISO.fullmatch(text) or not (parts or named):
        return text
    if named:
        day, month, year = named[1], str(_month(named[2])), named[3]
    elif parts and (order == "ymd" or len(parts[1]) == 4):
        year, month, day = parts.groups()
    elif parts:
        first, second, year = parts.groups()
        day, month = (first, second) if order == "dmy" else (second, first)
    try:
        return date(_whole_year(year, today), int(month), int(day)).isoformat()
    except ValueError:
        return text


def is_serial(text: str) -> bool:
    """Whether a cell is a day as the bare number that a spreadsheet program keeps for it."""
    return bool(_SERIAL.fullmatch(text))


def _month(word: str) -> int:
    return _MONTHS.index(word[:3].casefold()) + 1 if word[:3].casefold() in _MONTHS else 0


def _whole_year(year: str, today: date) -> int:
    if len(year) > 2:
        return int(year)
    this = today.year // 100 * 100 + int(year)
    return this if this <= today.year else this - 100


def guess_order(cells: Iterable[str]) -> Order:
    """The order of day and month that all cells allow; where they allow both, the day comes first."""
    found = [parts.groups() for parts in map(_PARTS.fullmatch, cells) if parts]
    if found and all(len(first) == 4 for first, _second, _third in found):
        return "ymd"
    if any(int(second) > 12 for first, second, _third in found if len(first) < 3):
        return "mdy"
    return "dmy"


def has_decimal_comma(cells: Iterable[str]) -> bool:
    """Whether figures among the cells are written with a comma: 7,4."""
    return any(re.fullmatch(r"<?\s*-?\d+,\d{1,3}", cell) for cell in cells)


def read_figure(text: str, *, comma: bool) -> str:
    """A measurement with the point that a submission reads."""
    return text.replace(".", "").replace(",", ".") if comma else text


def read_amount(text: str, *, comma: bool, marks: Iterable[str], empty_is_none: bool) -> str:
    """A count; a mark such as x becomes present, and an empty cell 0 where that is what it means."""
    if not text:
        return "0" if empty_is_none else ""
    if text.casefold() in marks:
        return "present"
    return text.replace(".", "") if comma and _THOUSANDS.fullmatch(text) else text
