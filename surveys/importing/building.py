"""From the rows of one visit to submission data, keeping for each field the cell it came from."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from surveys.importing.columns import COLUMN_BY_NAME, Column, spot_of
from surveys.importing.counting import add_counts
from surveys.importing.drafting import Draft
from surveys.importing.grouping import VisitRows
from surveys.importing.people import Members
from surveys.models import Site

# Names of people and the word standard are no values of a submission: they are looked up first.
_READ_APART = ("recorder", "partner", "effort")


def build_draft(visit: VisitRows, site: Site, number: UUID, members: Members) -> Draft:
    """Lay the visit's cells out as submission data; nothing is judged yet that the submission itself judges."""
    draft = Draft({"id": str(number), "site": str(site.pk), "visited_on": visit.rows[0].cells["date"]})
    draft.keep("site", visit.first_row, "site")
    draft.keep("visited_on", visit.first_row, "date")
    draft.problems += visit.problems
    draft.data["was_made"] = "not_made" not in visit.values
    for name, value in visit.values.items():
        _fill(draft, COLUMN_BY_NAME[name], name, value, visit.said_in[name])
    _check_spots(draft, visit.first_row)
    _add_people(draft, visit, members)
    _add_effort(draft, visit, site)
    add_counts(draft, visit)
    return draft


def _fill(draft: Draft, column: Column, name: str, value: str, row: int) -> None:
    spot = spot_of(name)
    if spot:
        _fill_spot(draft, *spot, value)
        draft.keep(f"spots.{spot[0]}.{spot[1]}", row, name)
        # A problem with the spot as a whole, or with all spots, is shown at the first cell that says anything.
        draft.keep(f"spots.{spot[0]}", row, name)
        draft.keep("spots", row, name)
    elif column.field.startswith("measurements."):
        _fill_measurement(draft, column, value, row)
    elif column.field and column.name not in _READ_APART:
        # "Heavy rain" is what people type for heavy_rain.
        draft.data[column.field] = "_".join(value.casefold().split()) if column.words else value
        draft.keep(column.field, row, name)


def _fill_spot(draft: Draft, number: int, part: str, value: str) -> None:
    spots: list[dict[str, Any]] = draft.data.setdefault("spots", [])
    found = next((each for each in spots if each["number"] == number), None)
    if found is None:
        found = {"number": number}
        spots.append(found)
    found[part] = value.casefold() if part == "flow_type" else value


def _check_spots(draft: Draft, first_row: int) -> None:
    """A flow type alone would be taken for a line of the form that was never filled in."""
    for spot in draft.data.get("spots", []):
        if set(spot) <= {"number", "flow_type"}:
            row, column = draft.place(f"spots.{spot['number']}", first_row)
            draft.refuse(row, column, _("Give the kicks and the seconds of this spot too, or leave it out."))


def _fill_measurement(draft: Draft, column: Column, value: str, row: int) -> None:
    quantity = column.field.rpartition(".")[2]
    readings: dict[str, dict[str, str]] = draft.data.setdefault("measurements", {})
    if quantity in readings:
        message = _("This was already given in another unit (%(unit)s). Keep one of the two.")
        draft.refuse(row, column.name, message % {"unit": readings[quantity]["unit"]})
        return
    readings[quantity] = {"value": value, "unit": column.unit}
    draft.keep(column.field, row, column.name)


def _add_people(draft: Draft, visit: VisitRows, members: Members) -> None:
    for column in ("recorder", "partner"):
        typed = visit.values.get(column, "")
        member = members.find(typed)
        draft.data[column] = str(member) if member else ""
        draft.data[f"{column}_name"] = "" if member else typed
        if typed:
            draft.keep(column, visit.said_in[column], column)
            draft.keep(f"{column}_name", visit.said_in[column], column)
        # Kept as a name, an address would be shown to whoever reads the visit.
        if "@" in typed and not member:
            message = _("No member has this e-mail address. Write the person's name instead.")
            draft.refuse(visit.said_in[column], column, message)


def _add_effort(draft: Draft, visit: VisitRows, site: Site) -> None:
    """The word standard stands for the site's plan; what was done at each spot is never made up otherwise."""
    word = visit.values.get("effort", "").casefold()
    if not word:
        return
    row = visit.said_in["effort"]
    if word != "standard":
        draft.refuse(row, "effort", _("Only the word standard can stand here; otherwise leave it empty."))
    elif "spots" in draft.data:
        draft.refuse(row, "effort", _("Give either the word standard or the spot columns, not both."))
    else:
        plan = {"kicks": site.kicks_per_spot, "seconds": str(site.kicks_per_spot * site.seconds_per_kick)}
        draft.data["spots"] = [{"number": number, **plan} for number in range(1, site.spots + 1)]
        draft.keep("spots", row, "effort")
