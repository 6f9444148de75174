"""A sheet as it came: lines of text, before anybody has said what they mean."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import zip_longest
from typing import IO

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from openpyxl.utils import get_column_letter

from surveys.importing.columns import header_name
from surveys.importing.decoding import ReadAs
from surveys.importing.reading import MOST_COLUMNS, MOST_ROWS, Place, UnusableFile, open_lines

# What an error sheet adds; a mended one is loaded without it.
WHAT_IS_WRONG = "what_is_wrong"
# Somebody waits for the page while a file is read; the largest sheet that is allowed takes some ten seconds.
SECONDS_TO_READ = 60
MOST_CELLS = 2_000_000
AS_CSV = ReadAs("csv", "utf-8", ",")


@dataclass(frozen=True)
class RawSheet:
    """The lines of a sheet, all of the same length, the first naming the rest of its column.

    `turned` tells that rows and columns were changed over, for a sheet that has its visits side by side;
    `read_as` tells how the file was understood.
    """

    lines: tuple[tuple[str, ...], ...]
    turned: bool = False
    read_as: ReadAs = AS_CSV

    @cached_property
    def header(self) -> tuple[str, ...]:
        """The names of the columns, each once: an empty one is called by its letter."""
        names: list[str] = []
        for number, cell in enumerate(self.lines[0], start=1):
            name = " ".join(cell.split()) or _("Column %(letter)s") % {"letter": get_column_letter(number)}
            same = sum(each == name or each.startswith(f"{name} (") for each in names)
            names.append(f"{name} ({same + 1})" if same else name)
        return tuple(names)

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        """What stands below the header."""
        return self.lines[1:]

    def column(self, name: str) -> tuple[str, ...]:
        """The cells below one name of the header."""
        place = self.header.index(name)
        return tuple(row[place] for row in self.rows)

    def line_name(self, row: int) -> str:
        """What a spreadsheet program calls line `row`: a row by its number, turned a column by its letter."""
        if self.turned:
            return _("column %(letter)s") % {"letter": get_column_letter(row)}
        return _("row %(row)d") % {"row": row}

    def turn(self) -> RawSheet:
        """Rows as columns and columns as rows."""
        return RawSheet(tuple(zip(*self.lines, strict=True)), not self.turned, self.read_as)

    def place(self, row: int, name: str) -> Place:
        """Where the cell below `name` in line `row` (1 is the header) stands in the file."""
        column = self.header.index(name) + 1 if name in self.header else 0
        value = self.lines[row - 1][column - 1] if column and 0 < row <= len(self.lines) else ""
        if not self.turned:
            return Place(row, name, f"{get_column_letter(column)}{row}" if column else "", value)
        # A visit is a column here, and what stands in the header is a row.
        letter = get_column_letter(row)
        return Place(column or 1, name or letter, f"{letter}{column}" if column else letter, value)


def read_raw(file: IO[bytes], name: str, most_rows: int | None = None) -> RawSheet:
    """Read a file within the bounds of rows, columns, cells, size and time; raises UnusableFile."""
    read_as, found = open_lines(file, name)
    lines = list(_bounded(found, MOST_ROWS if most_rows is None else most_rows))
    while lines and not any(lines[-1]):
        lines.pop()
    if not lines or not any(lines[0]):
        raise UnusableFile(_("The first row is empty. It must name the columns."))
    if len(lines) == 1:
        raise UnusableFile(_("The sheet has a header but no rows."))
    # Filled up to one length, without the empty columns at the end that deleting leaves.
    whole = [column for column in zip_longest(*lines, fillvalue="")]
    while not any(whole[-1]):
        whole.pop()
    return RawSheet(tuple(zip(*whole, strict=True)), read_as=read_as)


def _bounded(lines: Iterable[list[str]], most_rows: int) -> Iterable[list[str]]:
    begun, cells = time.monotonic(), 0
    for number, line in enumerate(lines):
        while line and not line[-1]:
            line.pop()
        cells += len(line)
        # Empty lines at the end of a sheet are no rows of it.
        if line and number > most_rows:
            raise UnusableFile(_too_many_rows(most_rows))
        if len(line) > MOST_COLUMNS:
            raise UnusableFile(_("The sheet has more than 200 columns."))
        if cells > MOST_CELLS or time.monotonic() - begun > SECONDS_TO_READ:
            raise UnusableFile(_("The sheet is too large to be read. Split it by year or by site."))
        yield line


def _too_many_rows(most: int) -> str:
    rows = number_format(most, use_l10n=True, force_grouping=True)
    return _("The sheet has more than %(rows)s rows. Split it by year or by site.") % {"rows": rows}


def is_note(name: str) -> bool:
    """Whether a column is the one that an error sheet adds."""
    return header_name(name) == WHAT_IS_WRONG
