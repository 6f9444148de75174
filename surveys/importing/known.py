"""Visits of a sheet that the group has already: found by number, held against what the sheet says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from portal.accounts.models import Group
from surveys.importing.grouping import VisitRows
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Visit
from surveys.submission import Submission
from surveys.submission.numbers import plain_text
from surveys.submission.types import Reading
from surveys.submission.writing import differences, submission_of

# What no sheet carries: these stay as they are recorded, whatever is loaded.
_NOT_IN_SHEETS = ("id", "kit", "checklist_done", "checklist_at", "recording_list")
_OF_PHONES = (".timed", ".by_key")


@dataclass(frozen=True)
class Differing:
    """A visit that is here and says something else: its number, site and day, and the fields that differ."""

    number: str
    site: str
    day: str
    fields: tuple[str, ...]


def numbers_given(group: Group, visits: Iterable[VisitRows]) -> Mapping[str, UUID]:
    """Visit keys that are the number of a visit of this group, as its exports write them (one query)."""
    asked = {visit.key[2]: number for visit in visits if (number := _as_number(visit.key[2]))}
    here = set(Visit.objects.of_group(group).filter(pk__in=asked.values()).values_list("pk", flat=True))
    return {key: number for key, number in asked.items() if number in here}


def _as_number(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def differing_visits(group: Group, submissions: Iterable[Submission]) -> list[Differing]:
    """Those that are here and differ. An empty cell says nothing; a taxon that is missing does."""
    said = {each.id: each for each in submissions}
    rows = Visit.objects.of_group(group).filter(pk__in=said).select_related("site")
    rows = rows.prefetch_related("spots__timed", "measurements", "counts").order_by("visited_on", "pk")
    found = ((visit, _fields(submission_of(visit), said[visit.pk])) for visit in rows)
    return [
        Differing(str(visit.pk), visit.site.code, visit.visited_on.isoformat(), fields)
        for visit, fields in found
        if fields
    ]


def _fields(here: Submission, said: Submission) -> tuple[str, ...]:
    changes = differences(here, said)
    told = {path for path, (old, new) in changes.items() if _is_said(path, old, new)}
    told -= {each.field for each in said.measurements if _is_same(here.reading(each.quantity), each)}
    # A name and the account that bears it are one field to whoever reads the sheet.
    return tuple(sorted({path.removesuffix("_name") for path in told}))


def _is_said(path: str, old: object, new: object) -> bool:
    if path in _NOT_IN_SHEETS or path.endswith(_OF_PHONES):
        return False
    # An account is said by its name: without one, the sheet says nothing of it.
    return path.startswith(("counts.", "whole_tray.")) or (new is not None and bool(new or old))


def _is_same(here: Reading | None, said: Reading) -> bool:
    """Whether two readings are one in different units: 0.42 mS/cm is written as 420 µS/cm."""
    if here is None or here.is_below_limit != said.is_below_limit:
        return False
    quantity = QUANTITIES[said.quantity]
    one, other = (quantity.in_first_unit(each.value, each.unit) for each in (here, said))
    return plain_text(one) == plain_text(other)
