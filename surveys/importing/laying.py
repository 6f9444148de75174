"""From a sheet as it came, by its plan, to one row per taxon under the names of the table of columns."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from surveys.importing.columns import COLUMN_BY_NAME
from surveys.importing.plans import TAXON_COLUMN, Plan, is_reading
from surveys.importing.raw import RawSheet
from surveys.importing.reading import MOST_COLUMNS, Place, Row, Sheet, UnusableFile
from surveys.importing.values import read_amount, read_day, read_figure

# A row of many taxa becomes as many rows: their numbers keep the row and the column they came from.
_APART = 1_000
assert MOST_COLUMNS < _APART
MOST_COUNTS = 200_000
# Each visit is held against its site's history, and somebody waits for the check.
MOST_VISITS = 1_500
# What tells one visit from another.
_OF_EVERY_ROW = ("site", "date", "visit")


@dataclass(frozen=True)
class LaidSheet(Sheet):
    """The rows by taxon, and the way back to the cells they came from."""

    raw: RawSheet
    plan: Plan
    today: date

    def place(self, row: int, column: str) -> Place:
        """The cell of the sheet as it came. A count's column is that of its taxon where visits are rows."""
        if self.plan.layout == "taxon_rows":
            return self.raw.place(row, self._name_of(column))
        line, number = divmod(row, _APART)
        if number and column in ("taxon", "count", "whole_tray"):
            return self.raw.place(line, self.raw.header[number - 1])
        return self.raw.place(line, self._name_of(column))

    def read(self, target: str, cell: str) -> str:
        """A cell of that column of the table, read by the plan."""
        return read_cell(self.plan, self.today, target, cell)

    def line_of(self, row: int) -> int:
        """The line of the sheet as it came (of the turned one, where visits are columns) behind a row."""
        return row if self.plan.layout == "taxon_rows" else row // _APART

    def _name_of(self, column: str) -> str:
        names = (name for name, target in self.plan.columns.items() if target == column)
        return next(names, column)


def lay_out(raw: RawSheet, plan: Plan, today: date) -> LaidSheet:
    """Read a sheet by its plan; raises UnusableFile where it lacks something or there are too many counts."""
    if not plan.is_usable:
        raise UnusableFile(_("Say first which columns hold %(names)s.") % {"names": ", ".join(plan.missing)})
    seen = plan.seen(raw)
    known = {name: target for name, target in plan.columns.items() if name in seen.header}
    laying = _Laying(seen, plan, known, today)
    by_taxon = plan.layout == "taxon_rows"
    rows: list[Row] = []
    for number, line in enumerate(seen.rows, start=2):
        if any(line):
            rows += [laying.row(number, line)] if by_taxon else list(laying.taxa(number, line))
        if len(rows) > MOST_COUNTS:
            raise UnusableFile(_("The sheet holds more than 200,000 counts. Split it by year or by site."))
    if len({tuple(row.cells.get(name) for name in _OF_EVERY_ROW) for row in rows}) > MOST_VISITS:
        raise UnusableFile(_("The sheet holds more than 1,500 visits. Split it by year or by site."))
    header = tuple(target for target in known.values() if target in COLUMN_BY_NAME)
    return LaidSheet(header, tuple(row for row in rows if row.cells), seen, plan, today)


@dataclass(frozen=True)
class _Laying:
    raw: RawSheet
    plan: Plan
    known: dict[str, str]
    today: date

    def row(self, number: int, line: tuple[str, ...]) -> Row:
        """The cells of a line that are columns of the table."""
        cells = dict(self._cells(line))
        if cells.get("taxon"):
            cells["count"] = self._amount(cells.get("count", ""))
        return Row(number, {name: cell for name, cell in cells.items() if cell})

    def taxa(self, number: int, line: tuple[str, ...]) -> Iterator[Row]:
        """A row for each taxon of a visit, the first with what the line says of the visit as a whole."""
        cells = {name: cell for name, cell in self._cells(line) if cell}
        begun, shown = number * _APART, self.raw.line_name(number)
        counted = list(self._counted(line, was_made="not_made" not in cells))
        if not counted:
            yield Row(begun, cells, shown)
        key = {name: cell for name, cell in cells.items() if name in _OF_EVERY_ROW}
        for place, (column, name, amount) in enumerate(counted):
            told = key if place else cells
            yield Row(begun + column, {**told, "taxon": self._taxon(name), "count": amount}, shown)

    def _counted(self, line: tuple[str, ...], *, was_made: bool) -> Iterator[tuple[int, str, str]]:
        for column, (name, cell) in enumerate(zip(self.raw.header, line, strict=True), start=1):
            # On a visit that was not made, an empty cell is no search for the taxon.
            if self.known.get(name) == TAXON_COLUMN and (cell or was_made):
                amount = self._amount(cell)
                if amount:
                    yield column, name, amount

    def _cells(self, line: tuple[str, ...]) -> Iterator[tuple[str, str]]:
        for name, cell in zip(self.raw.header, line, strict=True):
            target = self.known.get(name, "")
            if target and target != TAXON_COLUMN:
                yield target, read_cell(self.plan, self.today, target, cell)

    def _taxon(self, name: str) -> str:
        return self.plan.taxa.get(name, name)

    def _amount(self, cell: str) -> str:
        plan = self.plan
        return read_amount(cell, comma=plan.decimal_comma, marks=plan.marks, empty_is_none=plan.empty_is_none)


def read_cell(plan: Plan, today: date, target: str, cell: str) -> str:
    """A cell of that column of the table as our own sheets would have it."""
    if target == "date":
        return read_day(cell, plan.date_order, today)
    if target == "taxon":
        return plan.taxa.get(cell, cell)
    if target == "site":
        return plan.sites.get(cell, cell)
    return read_figure(cell, comma=plan.decimal_comma) if is_reading(target) else cell
