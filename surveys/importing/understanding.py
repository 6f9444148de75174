"""How a sheet was understood, for whoever sent it to see: letters, separators, days and figures."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, islice

from surveys.importing.decoding import ReadAs
from surveys.importing.laying import LaidSheet
from surveys.importing.plans import Plan, is_reading
from surveys.importing.raw import RawSheet
from surveys.importing.values import is_serial

EXAMPLES = 3


@dataclass(frozen=True)
class Understood:
    """How letters, days and figures were read.

    `odd_words` are cells with letters that another encoding would spell otherwise; `day` and `day_read` a day
    as it stands there and as it was read; `figure` and `figure_read` likewise where figures have a comma.
    """

    read_as: ReadAs
    layout: str
    date_order: str
    decimal_comma: bool
    odd_words: tuple[str, ...] = ()
    day: str = ""
    day_read: str = ""
    has_serials: bool = False
    figure: str = ""
    figure_read: str = ""

    @property
    def needs_a_look(self) -> bool:
        """Whether something was guessed that only a reader of the sheet can tell."""
        guessed_letters = self.read_as.encoding == "windows-1252" and bool(self.odd_words)
        return guessed_letters or self.decimal_comma or self.has_serials


def understood(sheet: LaidSheet) -> Understood:
    """What a laid-out sheet was taken for, with examples from it."""
    raw, plan = sheet.raw, sheet.plan
    day, serials = _days(raw, plan)
    figure = _figure(raw, plan) if plan.decimal_comma else ""
    return Understood(
        read_as=raw.read_as,
        layout=plan.layout,
        date_order=plan.date_order,
        decimal_comma=plan.decimal_comma,
        odd_words=_odd_words(raw),
        day=day,
        day_read=sheet.read("date", day) if day else "",
        has_serials=serials,
        figure=figure,
        figure_read=figure.replace(".", "").replace(",", "."),
    )


def _odd_words(raw: RawSheet) -> tuple[str, ...]:
    cells = (cell for cell in chain.from_iterable(raw.lines) if not cell.isascii())
    return tuple(islice(dict.fromkeys(cell[:60] for cell in cells), EXAMPLES))


def _days(raw: RawSheet, plan: Plan) -> tuple[str, bool]:
    """The first day that is not written year first, else the first; and whether any is a bare number."""
    cells = [cell for name in _names(raw, plan, "date") for cell in raw.column(name) if cell]
    telling = (cell for cell in cells if not cell[:4].isdigit())
    return next(telling, cells[0] if cells else ""), any(map(is_serial, cells))


def _figure(raw: RawSheet, plan: Plan) -> str:
    names = [name for name, target in plan.columns.items() if is_reading(target) and name in raw.header]
    return next((cell for name in names for cell in raw.column(name) if "," in cell), "")


def _names(raw: RawSheet, plan: Plan, target: str) -> list[str]:
    return [name for name, each in plan.columns.items() if each == target and name in raw.header]
