"""What earlier visits to sites found, in four queries however many sites of a group are asked about."""

from __future__ import annotations

from bisect import insort
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from uuid import UUID

from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Max, Q, Value
from django.db.models.functions import Coalesce, ExtractMonth

from surveys.models import Measurement, Site, TaxonCount, Visit, VisitScore
from surveys.models.visits import Status
from surveys.quantities import QUANTITIES
from surveys.recording_lists import first_index
from surveys.rules.types import SiteHistory
from surveys.submission.types import Submission

# Thirty years of monthly visits; more would not move a median.
READINGS_READ = 400
# Days before a day, so that the newest reading comes first, and the reading in the first unit of its quantity.
Dated = tuple[int, float]


@dataclass
class Past:
    """One site's past: days of its made visits, finds, scores and readings; it grows with visits taken in."""

    index: str
    days: Counter[date] = field(default_factory=Counter)
    approved: Sequence[date] = ()
    most: dict[str, int] = field(default_factory=dict)
    months: dict[str, tuple[int, ...]] = field(default_factory=dict)
    scores: tuple[float, ...] = ()
    readings: dict[str, list[Dated]] = field(default_factory=lambda: defaultdict(list))

    @cached_property
    def visits_by_month(self) -> Mapping[int, int]:
        return Counter(day.month for day in self.approved)

    def before(self, submission: Submission) -> SiteHistory:
        """What of it the rules are told for a submission."""
        is_scored = submission.was_made and bool(submission.counts)
        measured = {each.quantity for each in submission.measurements} & self.readings.keys()
        return SiteHistory(
            approved_visits=len(self.approved),
            most=self.most,
            months=self.months,
            readings={each: tuple(value for _, value in self._newest(each)) for each in measured},
            visits_by_month=self.visits_by_month,
            score_index=self.index,
            scores=self.scores if is_scored else (),
        )

    def _newest(self, quantity: str) -> Sequence[Dated]:
        return self.readings[quantity][:READINGS_READ]

    def add(self, submission: Submission) -> None:
        """A visit that was just taken in belongs to it; its finds only once they are approved."""
        if submission.was_made:
            self.days[submission.visited_on] += 1
        for each in submission.measurements:
            if not each.is_below_limit:
                value = float(QUANTITIES[each.quantity].in_first_unit(each.value, each.unit))
                insort(self.readings[each.quantity], (-submission.visited_on.toordinal(), value))


def pasts_of(
    sites: Collection[Site], *, without: Collection[UUID], quantities: Collection[str]
) -> dict[UUID, Past]:
    """The pasts of sites of one group, by the site's id, as if the visits `without` had never been.

    Readings are told of `quantities` alone.
    """
    pasts = {each.pk: Past(first_index(each.recording_list)) for each in sites}
    asked = _Asked({each.group_id for each in sites}, pasts, without)
    _read_days(pasts, asked)
    _read_finds(pasts, asked)
    _read_scores(pasts, asked)
    if quantities:
        _read_readings(pasts, asked, quantities)
    return pasts


@dataclass(frozen=True)
class _Asked:
    """Which rows are asked about: of parts of visits, and of visits themselves."""

    groups: Collection[UUID]
    sites: Iterable[UUID]
    without: Collection[UUID]

    def of_visits(self) -> Q:
        return Q(group__in=self.groups, site__in=list(self.sites)) & ~Q(pk__in=self.without)

    def of_parts(self) -> Q:
        chosen = Q(visit__group__in=self.groups, visit__site__in=list(self.sites))
        return chosen & ~Q(visit__in=self.without)


# Approved visits only say what was found: a slip that still waits must not excuse the next one.
APPROVED = Q(visit__status=Status.APPROVED)


def _read_days(pasts: Mapping[UUID, Past], asked: _Asked) -> None:
    # A day on which the visit could not be made may well be tried again.
    made = Visit.objects.filter(asked.of_visits(), was_made=True).order_by().values_list("site_id")
    approved = Q(status=Status.APPROVED)
    rows = made.annotate(
        days=ArrayAgg("visited_on"), approved=ArrayAgg("visited_on", filter=approved, default=Value([]))
    )
    for site, days, of_approved in rows:
        pasts[site].days, pasts[site].approved = Counter(days), of_approved


def _read_finds(pasts: Mapping[UUID, Past], asked: _Asked) -> None:
    """For each taxon ever found the most of it, and the month of every find."""
    found = TaxonCount.objects.across_groups("narrowed by the group of the sites")
    # A taxon seen and not counted is known here, though no number is.
    found = found.filter(asked.of_parts(), APPROVED).exclude(count=0).order_by()
    rows = found.values_list("visit__site", "taxon").annotate(
        most=Max(Coalesce("count", "high", "low", 0)), seen=ArrayAgg(ExtractMonth("visit__visited_on"))
    )
    for site, taxon, most, seen in rows:
        pasts[site].most[taxon], pasts[site].months[taxon] = most, tuple(seen)


def _read_scores(pasts: Mapping[UUID, Past], asked: _Asked) -> None:
    """The newest first."""
    indices = {each.index for each in pasts.values()}
    scores = VisitScore.objects.across_groups("narrowed by the group of the sites")
    current = scores.filter(asked.of_parts(), APPROVED, index__in=indices, is_current=True, value__isnull=False)
    rows = current.order_by().values_list("visit__site", "index")
    for site, index, values in rows.annotate(all=ArrayAgg("value", order_by="-visit__visited_on")):
        if pasts[site].index == index:
            pasts[site].scores = tuple(values[:READINGS_READ])


def _read_readings(pasts: Mapping[UUID, Past], asked: _Asked, quantities: Collection[str]) -> None:
    # Waiting visits count here: with readings the sheer number matters, and medians bear a slip.
    readings = Measurement.objects.across_groups("narrowed by the group of the sites")
    taken = readings.filter(asked.of_parts(), quantity__in=quantities, is_below_limit=False)
    taken = taken.exclude(visit__status=Status.RETURNED).order_by()
    rows = taken.values_list("visit__site", "quantity", "unit").annotate(
        values=ArrayAgg("value", order_by="pk"), days=ArrayAgg("visit__visited_on", order_by="pk")
    )
    for site, key, unit, values, days in rows:
        quantity = QUANTITIES.get(key)
        if quantity:
            pasts[site].readings[key] += [
                (-day.toordinal(), float(quantity.in_first_unit(value, unit)))
                for value, day in zip(values, days, strict=True)
            ]
    for past in pasts.values():
        for dated in past.readings.values():
            dated.sort()
