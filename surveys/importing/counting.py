"""The count of each row: which taxon, how many, and what spreadsheet programs make of ranges."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from django.utils.translation import gettext as _

from scoring.taxa import roll_up
from surveys.importing.drafting import Draft
from surveys.importing.grouping import VisitRows
from surveys.importing.reading import Row
from surveys.submission.fields import RANGE_TEXTS

_WHOLE = re.compile(r"-?\d+")
_TO = re.compile(r"\s*(?:[-–]|\bto\b)\s*")
# "1-9" turns into 1 September in many spreadsheet programs, which write it as one of these.
_DATE_LIKE = re.compile(r"\d{4}-\d\d-\d\d|\d{1,2}[-/ ][A-Za-z]{3,}|[A-Za-z]{3,}[-/ ]\d{1,2}")


def add_counts(draft: Draft, visit: VisitRows) -> None:
    """Add an entry for each row that counts a taxon; a row alone may count nothing."""
    _check_fraction(draft, visit)
    draft.data["counts"] = []
    named: dict[tuple[str, bool], Row] = {}
    for row in visit.rows:
        taxon, amount = row.cells.get("taxon", ""), row.cells.get("count", "")
        # A visit that was not made has one row and nothing in it to count.
        if not taxon and not amount and len(visit.rows) == 1:
            continue
        if _is_sound(draft, row, taxon, amount) and _is_new(draft, row, taxon, named):
            part = {"whole_tray": True} if _is_of_whole_tray(row) else {}
            if part:
                draft.keep("fraction_sorted", row.number, "whole_tray")
            draft.data["counts"].append({"taxon": taxon, **_amount(amount), **part})
            _keep_names(draft, row, taxon)


def _check_fraction(draft: Draft, visit: VisitRows) -> None:
    typed = visit.values.get("fraction_sorted", "")
    if _DATE_LIKE.fullmatch(typed):
        message = _("The spreadsheet made the date “%(text)s” of it. Format the column as text, type it again.")
        draft.refuse(visit.said_in["fraction_sorted"], "fraction_sorted", message % {"text": typed})
        # One slip is told once: what is left of the cell would be refused as no fraction.
        del draft.data["fraction_sorted"]


def _is_of_whole_tray(row: Row) -> bool:
    return row.cells.get("whole_tray", "").casefold() == "yes"


def _keep_names(draft: Draft, row: Row, taxon: str) -> None:
    kind = "whole_tray" if _is_of_whole_tray(row) else "counts"
    draft.keep("counts", row.number, "count")
    draft.keep(f"{kind}.{taxon}", row.number, "count")
    # Rules name a line by the name that scoring knows where the name as written is the same.
    known = roll_up(taxon)
    if known:
        draft.keep(f"{kind}.{known.name}", row.number, "count")


def _is_sound(draft: Draft, row: Row, taxon: str, amount: str) -> bool:
    if not taxon:
        draft.refuse(row.number, "taxon", _("Which taxon was counted?"))
    if not amount:
        message = _("How many? Write 0 for looked for and not found; leave out what was not looked for.")
        draft.refuse(row.number, "count", message)
    elif _DATE_LIKE.fullmatch(amount):
        message = _(
            "The spreadsheet made the date “%(text)s” of a range. Format the column as text, type it again."
        )
        draft.refuse(row.number, "count", message % {"text": amount})
    elif not _amount(amount):
        message = _("Write a whole number like 12, a range (1-9, 10-99, 100-999, 1000+) or the word present.")
        draft.refuse(row.number, "count", message)
    if row.cells.get("whole_tray", "yes").casefold() != "yes":
        draft.refuse(row.number, "whole_tray", _("Only the word yes can stand here; otherwise leave it empty."))
    return bool(taxon and _amount(amount))


@lru_cache(maxsize=5_000)
def _amount(text: str) -> Mapping[str, Any]:
    """The amount as submission data; empty when it is neither a number nor a range nor "present"."""
    if text.casefold() == "present":
        return {"present": True}
    plain = _TO.sub("-", text.replace(",", "").strip()) if not _WHOLE.fullmatch(text) else text
    if _WHOLE.fullmatch(plain):
        return {"count": plain}
    return {"range": plain} if plain in RANGE_TEXTS else {}


def _is_new(draft: Draft, row: Row, taxon: str, named: dict[tuple[str, bool], Row]) -> bool:
    # Compared as written: two species of a family are two lines, a name in capitals is no other name.
    line = " ".join(taxon.casefold().split()), _is_of_whole_tray(row)
    earlier = named.setdefault(line, row)
    if earlier is row:
        return True
    message = _("This visit has “%(taxon)s” already, in %(place)s. Add the two up, or tell two visits apart.")
    draft.refuse(row.number, "taxon", message % {"taxon": taxon, "place": earlier.name})
    return False
