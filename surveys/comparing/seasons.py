"""A visit beside what its site held at the same time of earlier years."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from portal.accounts.prepared import planned
from scoring.indices import METHODS
from surveys.models import Visit, VisitScore
from surveys.models.visits import Status
from surveys.visits.sheets import ScoreLine, printed


@dataclass(frozen=True)
class SeasonRow:
    """One index, as printed: this visit, and the lowest, middle and highest of that season in earlier years."""

    name: str
    now: str
    low: str
    middle: str
    high: str
    visits: int


def season_of(visit: Visit, lines: Iterable[ScoreLine]) -> list[SeasonRow]:
    """The visit's leading scores against approved visits of earlier years within a month of its own month.

    Empty where there are none; one query.
    """
    before, months = date(visit.visited_on.year, 1, 1), months_around(visit.visited_on.month)
    lines, values = list(lines), defaultdict[str, list[float]](list)
    indices = tuple(line.index for line in lines)
    for index, value in _scores(visit.group_id, visit.site_id, before, months, indices):
        if value is not None:
            values[index].append(value)
    return [_row(line, values[line.index]) for line in lines if line.index in values]


@planned
def _scores(
    group: UUID, site: UUID, before: date, months: tuple[int, int, int], indices: tuple[str, ...]
) -> QuerySet[Any, Any]:
    return VisitScore.objects.filter(
        visit__group=group,
        visit__site=site,
        visit__status=Status.APPROVED,
        visit__was_made=True,
        visit__visited_on__lt=before,
        visit__visited_on__month__in=months,
        index__in=indices,
        is_current=True,
    ).values_list("index", "value")


def months_around(month: int) -> tuple[int, int, int]:
    """The month with the one before and the one after: 12, 1, 2 for January."""
    return ((month - 2) % 12 + 1, month, month % 12 + 1)


def _row(line: ScoreLine, values: list[float]) -> SeasonRow:
    decimals = METHODS[line.index].decimals
    low, middle, high = (printed(each, decimals) for each in (min(values), median(values), max(values)))
    return SeasonRow(line.name, line.value, low, middle, high, len(values))
