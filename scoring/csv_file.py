"""Reading a CSV file that somebody kept by hand: every problem told in one line with file and row."""

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path


class CsvFileError(ValueError):
    """What is wrong with the file, in one line that names file and row."""


def read_rows(path: Path, header: Sequence[str]) -> Iterator[tuple[str, list[str]]]:
    """Give each row as its place ("file: row 3") and its cells, none of them empty; raises CsvFileError.

    Cells are stripped, blank rows passed over, and the header may be in any case.
    """
    # strict, because a lost quote would otherwise swallow the rows that follow.
    reader = csv.reader(io.StringIO(_read_text(path), newline=""), strict=True)
    rows = _number_rows(path, reader)
    _check_header(path, next(rows, (1, []))[1], header)
    for number, cells in rows:
        # Spreadsheets leave blank rows, some of them with the commas.
        if any(cells):
            place = f"{path}: row {number}"
            _check_cells(place, cells, header)
            yield place, cells


def _read_text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise CsvFileError(f"{path}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        # Most such files come from a spreadsheet's older CSV form; the row helps to find the letter.
        row = error.object[: error.start].count(b"\n") + 1
        raise CsvFileError(f"{path}: row {row} is not UTF-8 text; save the file as CSV UTF-8") from error


def _number_rows(path: Path, reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    number = 0
    try:
        for number, cells in enumerate(reader, 1):
            yield number, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise CsvFileError(f"{path}: row {number + 1} is not valid CSV ({error})") from error


def _check_header(path: Path, cells: list[str], header: Sequence[str]) -> None:
    if [cell.casefold() for cell in cells] != list(header):
        raise CsvFileError(f"{path}: row 1 must be the header {','.join(header)}")


def _check_cells(place: str, cells: list[str], header: Sequence[str]) -> None:
    if len(cells) != len(header):
        raise CsvFileError(f"{place} has {len(cells)} columns, not {len(header)}")
    for column, cell in zip(header, cells, strict=True):
        if not cell:
            raise CsvFileError(f"{place} has no {column}")
