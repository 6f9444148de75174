"""Tables as files: CSV, XLSX and GeoJSON. Each writer says how many records it wrote."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import IO, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

from surveys.exporting.cells import as_json, as_text, writable
from surveys.exporting.tables import Cell, Record, Table
from surveys.formulas import disarmed, is_formula_like

# Told after each of so many records: often enough for a bar that moves.
STEP = 100
# The most a sheet of the format holds is 1,048,576 rows.
ROWS_OF_A_SHEET = 1_000_000
LONGEST_CELL = 32_767

Progress = Callable[[int], None]
Writer = Callable[[Table, IO[bytes], Progress], int]


def _counted(records: Iterator[Record], progress: Progress) -> Iterator[Record]:
    done = 0
    for done, record in enumerate(records, start=1):
        yield record
        if done % STEP == 0:
            progress(done)
    progress(done)


def write_csv(table: Table, out: IO[bytes], progress: Progress) -> int:
    """UTF-8 with its mark at the start, as spreadsheet programs want it; commas, quotes where needed, CRLF."""
    text = io.TextIOWrapper(out, encoding="utf-8-sig", newline="", write_through=True)
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(table.header)
    number = 0
    for record in _counted(table.records, progress):
        number += 1
        writer.writerow([_csv_cell(cell) for cell in record.cells])
    # Given back open: the file belongs to the caller.
    text.detach()
    return number


def _csv_cell(cell: Cell) -> str:
    text = as_text(cell)
    return disarmed(text) if isinstance(cell, str) else text


def write_xlsx(table: Table, out: IO[bytes], progress: Progress) -> int:
    """A workbook of one sheet, or of more where a million rows do not hold it all."""
    book = Workbook(write_only=True)
    number, sheet = 0, _new_sheet(book, table)
    for number, record in enumerate(_counted(table.records, progress), start=1):
        if number % ROWS_OF_A_SHEET == 0:
            sheet = _new_sheet(book, table)
        sheet.append([_xlsx_cell(sheet, cell) for cell in record.cells])
    book.save(out)
    return number


def _new_sheet(book: Workbook, table: Table) -> Any:
    sheet = book.create_sheet(f"{table.name} {len(book.sheetnames) + 1}" if book.sheetnames else table.name)
    sheet.freeze_panes = "A2"
    sheet.append(list(table.header))
    return sheet


def _xlsx_cell(sheet: Any, cell: Cell) -> Any:
    if isinstance(cell, datetime):
        # The format knows no time zones.
        return as_text(cell)
    if isinstance(cell, bool):
        return as_text(cell)
    if not isinstance(cell, str):
        return cell
    text = writable(cell)[:LONGEST_CELL]
    # Text that begins with a digit may be a range, which a program would make a date of when it is touched.
    return _text_cell(sheet, text) if is_formula_like(text) or text[:1].isdigit() else text


def _text_cell(sheet: Any, text: str) -> Any:
    """A cell that says of itself that it is text, as the apostrophe does when somebody types it."""
    cell = WriteOnlyCell(sheet, value=text)
    cell.data_type, cell.number_format, cell.quotePrefix = "s", "@", True
    return cell


def write_geojson(table: Table, out: IO[bytes], progress: Progress) -> int:
    """A collection of points (RFC 7946): longitude and latitude in WGS84, all else as properties."""
    out.write(b'{"type": "FeatureCollection", "features": [')
    number = 0
    for number, record in enumerate(_counted(table.records, progress), start=1):
        feature = json.dumps(_feature(table.header, record), ensure_ascii=False)
        out.write(("," if number > 1 else "").encode() + b"\n" + feature.encode())
    out.write(b"\n]}\n")
    return number


def _feature(header: tuple[str, ...], record: Record) -> Mapping[str, Any]:
    known = zip(header, record.cells, strict=True)
    properties = {name: as_json(cell) for name, cell in known if cell not in (None, "")}
    longitude, latitude = record.place
    return {
        "type": "Feature",
        **({"id": record.number} if record.number else {}),
        "geometry": {"type": "Point", "coordinates": [round(longitude, 6), round(latitude, 6)]},
        "properties": {**properties, **record.more},
    }
