"""The rows that cannot be loaded, as a sheet of their own that says what is wrong, to be mended and loaded."""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Iterable

from openpyxl import Workbook
from openpyxl.cell import Cell, WriteOnlyCell
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from surveys.importing.checking import CheckedSheet
from surveys.importing.grouping import RowProblem
from surveys.importing.laying import LaidSheet
from surveys.importing.raw import WHAT_IS_WRONG, is_note

Lines = list[tuple[str, ...]]


def bad_lines(sheet: LaidSheet, checked: CheckedSheet) -> Lines:
    """The header and every line of each visit with a problem, as they came, with what is wrong at the end.

    All lines of such a visit are there, because a visit is loaded whole. Visits side by side stay so.
    """
    wrong: dict[int, list[str]] = defaultdict(list)
    for row, problems in checked.bad_rows.items():
        wrong[sheet.line_of(row)] += _sentences(problems)
    kept = [number for number, name in enumerate(sheet.raw.header) if not is_note(name)]
    lines = [(*_cells(sheet, 1, kept), WHAT_IS_WRONG)]
    for line in sorted(wrong):
        lines.append((*_cells(sheet, line, kept), " ".join(dict.fromkeys(wrong[line]))))
    return [*zip(*lines, strict=True)] if sheet.raw.turned else lines


def _cells(sheet: LaidSheet, line: int, kept: Iterable[int]) -> list[str]:
    cells = sheet.raw.lines[line - 1]
    return [cells[number] for number in kept]


def _sentences(problems: Iterable[RowProblem]) -> list[str]:
    return [f"{each.column}: {each.message}" if each.column else each.message for each in problems]


def as_workbook(lines: Lines) -> bytes:
    """An XLSX of text only: no formula is ever calculated from it, and no range becomes a date."""
    book = Workbook(write_only=True)
    page = book.create_sheet()
    for line in lines:
        page.append([_as_text(page, cell) for cell in line])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _as_text(page: WriteOnlyWorksheet, text: str) -> Cell:
    cell = WriteOnlyCell(page, text)
    cell.data_type = "s"
    cell.number_format = "@"
    return cell
