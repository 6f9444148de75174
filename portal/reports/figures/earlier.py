"""The years before the report's, read lean: the scores of a whole record, without the visits around them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q

from alerts.models import Verdict
from portal.accounts.models import Group
from surveys.models import Site, SpotEffort, Visit, VisitScore
from surveys.models.visits import Status
from surveys.visits.effort import deviations


class Spot(NamedTuple):
    """The kicking at one spot; `seconds` is that of all its kicks."""

    number: int
    kicks: int
    seconds: Decimal


class Score(NamedTuple):
    """A score in the unit of its index; `low` and `high` bound one that comes from ranges."""

    value: float | None
    low: float | None
    high: float | None


NO_SCORE = Score(None, None, None)


@dataclass(frozen=True)
class EarlierVisit:
    """An approved visit of an earlier year: what a chart and a comparison need of it."""

    on: date
    outcome: str
    is_standard: bool
    scores: Mapping[str, Score]


def earlier_visits(
    group: Group, year: int, sites: Sequence[Site], indices: Collection[str]
) -> dict[UUID, list[EarlierVisit]]:
    """Approved visits made before `year` by site, oldest first, with scores of `indices`. Three queries."""
    chosen = Q(visited_on__year__lt=year, status=Status.APPROVED, was_made=True, site__in=sites)
    scores, spots = _scores(group, chosen, indices), _spots(group, chosen)
    by_id = {site.pk: site for site in sites}
    found: dict[UUID, list[EarlierVisit]] = defaultdict(list)
    for visit, site, day, outcome in _visits(group, chosen):
        standard = not deviations(list(spots.get(visit, ())), by_id[site])
        told = outcome or Verdict.Outcome.NOT_TESTED.value
        found[site].append(EarlierVisit(day, told, standard, scores.get(visit, {})))
    return found


def _visits(group: Group, chosen: Q) -> Iterator[tuple[UUID, UUID, date, str | None]]:
    rows = Visit.objects.of_group(group).filter(chosen).order_by("visited_on", "submitted_at")
    yield from rows.values_list("pk", "site_id", "visited_on", "verdict__outcome")


def _scores(group: Group, chosen: Q, indices: Collection[str]) -> dict[UUID, dict[str, Score]]:
    visits = Visit.objects.of_group(group).filter(chosen).values("pk")
    rows = VisitScore.objects.of_group(group).filter(is_current=True, index__in=indices, visit__in=visits)
    found: dict[UUID, dict[str, Score]] = defaultdict(dict)
    for visit, index, *figures in rows.order_by().values_list("visit_id", "index", "value", "low", "high"):
        found[visit][index] = Score(*figures)
    return found


def _spots(group: Group, chosen: Q) -> dict[UUID, list[Spot]]:
    visits = Visit.objects.of_group(group).filter(chosen).values("pk")
    rows = SpotEffort.objects.of_group(group).filter(visit__in=visits).order_by("number")
    found: dict[UUID, list[Spot]] = defaultdict(list)
    for visit, number, kicks, seconds in rows.values_list("visit_id", "number", "kicks", "seconds"):
        found[visit].append(Spot(number, kicks, seconds))
    return found
