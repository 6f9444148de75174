"""What earlier visits to sites found, in four queries however many visits of a group are held against it."""

from __future__ import annotations

from bisect import insort
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any
from uuid import UUID

from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Max, Q, QuerySet, Value
from django.db.models.functions import Coalesce, ExtractMonth

from surveys.lists.recording import first_index
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Measurement, Site, TaxonCount, Visit, VisitScore
from surveys.models.visits import Status
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

    def same_day(self, submission: Submission) -> int:
        """How many visits of its day there are beside a submission."""
        return self.days[submission.visited_on] if submission.was_made else 0

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

    def remember(self, quantity: str, unit: str, taken: Iterable[tuple[date, Decimal]]) -> None:
        """Readings of one quantity in one unit; of a quantity that is recorded no longer nothing is known."""
        known = QUANTITIES.get(quantity)
        if known:
            factor = known.other_units.get(unit)
            values = ((day, value if factor is None else value * factor) for day, value in taken)
            dated = [(-day.toordinal(), float(value)) for day, value in values]
            self.readings[quantity] = sorted([*self.readings[quantity], *dated])

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
    asked = (tuple(pasts), tuple(without))
    for site, days, approved in _days(*asked):
        pasts[site].days, pasts[site].approved = Counter(days), approved
    for site, taxon, most, seen in _finds(*asked):
        pasts[site].most[taxon], pasts[site].months[taxon] = most, tuple(seen)
    for site, index, values, days in _scores(*asked, {each.index for each in pasts.values()}):
        if pasts[site].index == index:
            newest = sorted(zip(days, values, strict=True), reverse=True)[:READINGS_READ]
            pasts[site].scores = tuple(value for _day, value in newest)
    for site, quantity, unit, values, days in _readings(*asked, quantities) if quantities else ():
        pasts[site].remember(quantity, unit, zip(days, values, strict=True))
    return pasts


WHY = "narrowed by the sites, which were found in their group"
Rows = QuerySet[Any, tuple[Any, ...]]


def _of_parts(sites: tuple[UUID, ...], without: tuple[UUID, ...]) -> Q:
    # Approved visits only: a slip that still waits must not excuse the next one.
    return Q(visit__site__in=sites, visit__status=Status.APPROVED) & ~Q(visit__in=without)


def _days(sites: tuple[UUID, ...], without: tuple[UUID, ...]) -> Rows:
    """Days of all made visits, and of the approved ones."""
    # A day on which the visit could not be made may well be tried again.
    made = Visit.objects.across_groups(WHY).filter(site__in=sites, was_made=True).exclude(pk__in=without)
    approved = ArrayAgg("visited_on", filter=Q(status=Status.APPROVED), default=Value([]))
    return made.order_by().values_list("site_id").annotate(days=ArrayAgg("visited_on"), approved=approved)


def _finds(sites: tuple[UUID, ...], without: tuple[UUID, ...]) -> Rows:
    """For each taxon ever found the most of it, and the month of every find."""
    counts = TaxonCount.objects.across_groups(WHY).filter(_of_parts(sites, without))
    # A taxon seen and not counted is known here, though no number is.
    found = counts.exclude(count=0).order_by().values_list("visit__site", "taxon")
    return found.annotate(
        most=Max(Coalesce("count", "high", "low", 0)), seen=ArrayAgg(ExtractMonth("visit__visited_on"))
    )


def _scores(sites: tuple[UUID, ...], without: tuple[UUID, ...], indices: Collection[str]) -> Rows:
    """The scores in force, with their days: arrays of one row are in one order."""
    scores = VisitScore.objects.across_groups(WHY).filter(_of_parts(sites, without))
    current = scores.filter(index__in=indices, is_current=True, value__isnull=False)
    rows = current.order_by().values_list("visit__site", "index")
    return rows.annotate(values=ArrayAgg("value"), days=ArrayAgg("visit__visited_on"))


def _readings(sites: tuple[UUID, ...], without: tuple[UUID, ...], quantities: Collection[str]) -> Rows:
    # Waiting visits count here: with readings the sheer number matters, and medians bear a slip.
    taken = Measurement.objects.across_groups(WHY).filter(visit__site__in=sites, is_below_limit=False)
    taken = taken.exclude(visit__status=Status.RETURNED).exclude(visit__in=without)
    rows = taken.filter(quantity__in=quantities).order_by().values_list("visit__site", "quantity", "unit")
    return rows.annotate(values=ArrayAgg("value"), days=ArrayAgg("visit__visited_on"))
