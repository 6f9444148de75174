"""From rows to visits: which rows belong together, and what they say of the visit as a whole."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from uuid import UUID

from django.utils.translation import gettext as _

from surveys.importing.columns import VISIT_COLUMNS
from surveys.importing.reading import Row

# Makes the same visit of the same group have the same number whenever it is loaded, and whatever file it is in.
NUMBERS = uuid.UUID("5f0d5a51-3a0c-4a0e-9a57-6d0c7f2c8f11")


@dataclass(frozen=True)
class RowProblem:
    """What is wrong in one place of the sheet. Row 1 is the header; no column means the row as a whole.

    `cell` and `value` ("D17", and what stands there) are known where the sheet was read by a plan.
    """

    row: int
    column: str
    message: str
    cell: str = ""
    value: str = ""


@dataclass
class VisitRows:
    """The rows of one visit, with what they agree on and where it was said first."""

    key: tuple[str, str, str]
    rows: list[Row] = field(default_factory=list)
    values: dict[str, str] = field(default_factory=dict)
    said_in: dict[str, int] = field(default_factory=dict)
    problems: list[RowProblem] = field(default_factory=list)

    @property
    def first_row(self) -> int:
        return self.rows[0].number

    def add(self, row: Row) -> None:
        """Take a row in; a value that differs from an earlier row's is a problem, an empty cell is not."""
        self.rows.append(row)
        # Most rows say no more of the visit than which one it is.
        for name in filter(row.cells.__contains__, VISIT_COLUMNS):
            # An empty cell repeats what the visit's other rows say.
            # The rows of a visit were put together by their key, whatever its case.
            value = self.values.get(name) or row.cells.get(name) if name == "visit" else row.cells.get(name)
            if value is not None and self.values.setdefault(name, value) != value:
                self.problems.append(self._at_odds(row, name, value))
            elif value is not None:
                self.said_in.setdefault(name, row.number)

    def _at_odds(self, row: Row, name: str, value: str) -> RowProblem:
        message = _("“%(value)s” here, but “%(earlier)s” in %(place)s of the same visit.")
        earlier = next(each.name for each in self.rows if each.number == self.said_in[name])
        told = {"value": value, "earlier": self.values[name], "place": earlier}
        return RowProblem(row.number, name, message % told)

    def number(self, group_id: UUID, site_code: str) -> UUID:
        """The visit's own number, the same at every loading."""
        _site, day, visit_key = self.key
        return uuid.uuid5(NUMBERS, "\n".join([str(group_id), site_code, day, visit_key]))


def group_rows(rows: Iterable[Row]) -> tuple[list[VisitRows], list[RowProblem]]:
    """Rows by site, date and visit key, in the order they appear; rows that name no visit are problems."""
    visits: dict[tuple[str, str, str], VisitRows] = {}
    problems: list[RowProblem] = []
    for row in rows:
        missing = [name for name in ("site", "date") if name not in row.cells]
        problems += [RowProblem(row.number, name, _("Fill this in for every row.")) for name in missing]
        if not missing:
            key = (row.cells["site"].casefold(), row.cells["date"], row.cells.get("visit", "").casefold())
            visits.setdefault(key, VisitRows(key)).add(row)
    return list(visits.values()), problems
