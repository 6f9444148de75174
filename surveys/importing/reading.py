"""Opening a spreadsheet: CSV or XLSX, guarded against files made to overwhelm, every cell as text."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import IO, Any

from django.utils.translation import gettext as _
from openpyxl import load_workbook

from surveys.formulas import armed_again
from surveys.importing.columns import REQUIRED, header_name
from surveys.importing.decoding import ReadAs, Undecodable, decode, separated

MOST_BYTES = 20 * 1024 * 1024
MOST_ROWS = 100_000
MOST_COLUMNS = 200
# An XLSX is a zip: a small file can unpack to any size. Two million cells stay below this.
MOST_BYTES_UNPACKED = 100 * 1024 * 1024


class UnusableFile(ValueError):
    """The file cannot be read as a sheet of visits at all; the message says why."""


@dataclass(frozen=True)
class Row:
    """One row with its number as a spreadsheet program shows it; empty cells are left out.

    One of several rows made of one line has a number of its own, and `shown` says what the line is called.
    """

    number: int
    cells: Mapping[str, str]
    shown: str = ""

    @property
    def name(self) -> str:
        """What the row is called in a sentence."""
        return self.shown or _("row %(row)d") % {"row": self.number}


@dataclass(frozen=True)
class Place:
    """A cell as its own sheet shows it: row number, name of the column, letter and number ("D17"), content."""

    row: int
    column: str
    cell: str = ""
    value: str = ""


@dataclass(frozen=True)
class Sheet:
    """The header, in the form of the column table, and the rows that hold something."""

    header: tuple[str, ...]
    rows: tuple[Row, ...]

    def place(self, row: int, column: str) -> Place:
        """Where a row's column stands; a sheet laid out anew knows the cell it was before."""
        return Place(row, column)


def read_sheet(file: IO[bytes], name: str) -> Sheet:
    """Read a sheet whose header is that of the table of columns. Raises UnusableFile."""
    return _as_sheet(open_lines(file, name)[1])


def open_lines(file: IO[bytes], name: str) -> tuple[ReadAs, Iterator[list[str]]]:
    """How a file was understood, and its lines as text, cell by cell; `name` tells CSV from XLSX by its ending.

    Raises UnusableFile, at once or with a line that cannot be read.
    """
    # One byte more than allowed tells too large from just right without reading all of it.
    content = file.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        raise UnusableFile(_("The file is larger than 20 MB. Split it by year or by site."))
    ending = name.lower().rpartition(".")[2]
    if ending == "xlsx":
        return ReadAs("xlsx"), _xlsx_lines(content)
    if ending in ("csv", "txt", "tsv"):
        return _csv_lines(content)
    raise UnusableFile(
        _("Save the sheet as CSV or XLSX; a file ending in “%(ending)s” is neither.") % {"ending": ending}
    )


def _as_sheet(lines: Iterator[list[str]]) -> Sheet:
    header = _header(next(lines, []))
    rows = []
    for number, line in enumerate(lines, start=2):
        if number > MOST_ROWS + 1:
            raise UnusableFile(_("The sheet has more than 100,000 rows. Split it by year or by site."))
        row = _row(number, header, line)
        if row.cells:
            rows.append(row)
    if not rows:
        raise UnusableFile(_("The sheet has a header but no rows."))
    return Sheet(header, tuple(rows))


def _row(number: int, header: tuple[str, ...], line: list[str]) -> Row:
    if any(line[len(header) :]):
        raise UnusableFile(
            _("Row %(row)d has more cells than the header. Is a comma inside a cell without quotes?")
            % {"row": number}
        )
    # Cells beyond the header are empty, and a short line lacks only empty cells.
    pairs = zip(header, line, strict=False)
    return Row(number, {name: cell for name, cell in pairs if name and cell})


def _header(line: list[str]) -> tuple[str, ...]:
    names = [header_name(cell) for cell in line]
    # Deleted columns often leave empty cells at the end.
    while names and not names[-1]:
        names.pop()
    if len(names) > MOST_COLUMNS:
        raise UnusableFile(_("The sheet has more than 200 columns."))
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        raise UnusableFile(
            _("The first row must name the columns; missing: %(names)s.") % {"names": ", ".join(missing)}
        )
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise UnusableFile(_("Column %(names)s stands in the first row twice.") % {"names": ", ".join(twice)})
    return tuple(names)


def _csv_lines(content: bytes) -> tuple[ReadAs, Iterator[list[str]]]:
    try:
        whole, encoding = decode(content)
    except Undecodable as error:
        raise UnusableFile(str(error)) from error
    text, separator = separated(whole)
    return ReadAs("csv", encoding, separator), _cells_of(text, separator)


def _cells_of(text: str, separator: str) -> Iterator[list[str]]:
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        for line in lines:
            yield [armed_again(cell.strip()) for cell in line]
    except csv.Error as error:
        message = _("Row %(row)d cannot be read as CSV.") % {"row": lines.line_num}
        raise UnusableFile(message) from error


def _xlsx_lines(content: bytes) -> Iterator[list[str]]:
    _check_unpacked_size(content)
    try:
        # Formulas are never calculated: the value last saved with the file is read.
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheet = book.worksheets[0]
        # The size that a workbook claims is not believed: rows and columns are cut off here.
        for line in sheet.iter_rows(max_col=MOST_COLUMNS + 1, max_row=MOST_ROWS + 2, values_only=True):
            yield [cell_text(value) for value in line]
    except UnusableFile:
        raise
    # What a damaged workbook makes openpyxl raise is anything from KeyError to an XML error.
    except Exception as error:
        raise UnusableFile(_("The file cannot be read as XLSX. Save it anew, or as CSV UTF-8.")) from error


def _check_unpacked_size(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size = sum(each.file_size for each in packed.infolist())
    except zipfile.BadZipFile as error:
        raise UnusableFile(_("The file cannot be read as XLSX. Save it anew, or as CSV UTF-8.")) from error
    if size > MOST_BYTES_UNPACKED:
        raise UnusableFile(_("The file unpacks to more than 100 MB. Save only the sheet of visits."))


def cell_text(value: Any) -> str:
    """A spreadsheet cell as somebody would type it: 12.0 -> "12", a date -> "2024-05-03", a time -> "10:00"."""
    match value:
        case None:
            return ""
        case datetime() if value.time() == time(0):
            return value.date().isoformat()
        case datetime():
            return value.isoformat(sep=" ", timespec="minutes")
        case date():
            return value.isoformat()
        case time():
            return value.isoformat(timespec="minutes")
        case float() if value.is_integer():
            return str(int(value))
        case _:
            return str(value).strip()
