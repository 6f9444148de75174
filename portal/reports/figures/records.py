"""Reading a group's year from the database, in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from uuid import UUID

from django.db.models import Prefetch
from django.utils import timezone

from alerts.models import Incident, Trigger
from portal.accounts.models import Group, Membership
from portal.reports.figures.earlier import EarlierVisit, earlier_visits
from surveys.comparing.agreements import Pair, pairs_of
from surveys.exporting.models import PublishingTerms
from surveys.exporting.services import terms_of
from surveys.models import Site, Visit, VisitScore
from surveys.models.codes import by_code
from surveys.models.visits import Status
from surveys.people.hours import hours_beside_visits
from surveys.people.models import Training
from surveys.scores.columns import headlines_of

# Shown where a site has no trigger yet: the mean does not grow with effort, as a total does.
USUAL_INDEX = "aspt"
# As many as fit beside date, trigger and verdict on paper.
MOST_COLUMNS = 4


@dataclass(frozen=True)
class YearRecords:
    """Everything a report is made from. `visits` are the year's, `earlier` by site those of all years before;
    `leading` has for each recording list the indices that its sites' tables show. `other_hours` are those that
    people gave beside visits, `pairs` the approved visits made twice at one site and day.
    """

    group: Group
    year: int
    cut_off: datetime
    sites: Sequence[Site]
    visits: Sequence[Visit]
    earlier: Mapping[UUID, Sequence[EarlierVisit]]
    triggers: Sequence[Trigger]
    incidents: Sequence[Incident]
    members: Sequence[Membership]
    other_hours: float
    leading: Mapping[UUID, tuple[str, ...]]
    terms: PublishingTerms
    trainings: Sequence[Training]
    pairs: Sequence[Pair]

    @property
    def first_day(self) -> date:
        return date(self.year, 1, 1)

    @property
    def last_day(self) -> date:
        """The last day the report tells of: the year's last, or the day of the cut-off."""
        return min(date(self.year, 12, 31), self.cut_off.date())

    @cached_property
    def approved(self) -> list[Visit]:
        return [visit for visit in self.visits if visit.status == Status.APPROVED]

    @cached_property
    def made(self) -> list[Visit]:
        """Visits that were made and approved, oldest first."""
        return [visit for visit in self.approved if visit.was_made]

    @cached_property
    def waiting(self) -> list[Visit]:
        return [visit for visit in self.visits if visit.status != Status.APPROVED]


def load_records(group: Group, year: int, cut_off: datetime) -> YearRecords:
    """Read the year `year` of `group` and what its charts and comparisons need of the years before."""
    visits = list(_visits_of_year(group, year))
    visited = {visit.site_id for visit in visits}
    sites = [site for site in _all_sites(group) if site.pk in visited or _was_open(site, year)]
    triggers = list(Trigger.objects.of_group(group).order_by("valid_from", "created_at"))
    leading = _leading([site.recording_list_id for site in sites] + [each.recording_list_id for each in visits])
    indices = {each.index for each in triggers}.union(*leading.values(), [USUAL_INDEX])
    return YearRecords(
        group=group,
        year=year,
        cut_off=cut_off,
        sites=sites,
        visits=visits,
        earlier=_visits_before(group, year, sites, indices),
        triggers=triggers,
        incidents=list(_incidents(group, year)),
        members=list(_members_who_may_be_named(group, cut_off.date())),
        other_hours=hours_beside_visits(group, year),
        leading=leading,
        terms=terms_of(group),
        trainings=list(_trainings(group, min(date(year, 12, 31), cut_off.date()))),
        pairs=_approved_pairs(group, year),
    )


def _visits_before(
    group: Group, year: int, sites: Sequence[Site], indices: Collection[str]
) -> Mapping[UUID, Sequence[EarlierVisit]]:
    return earlier_visits(group, year, sites, indices)


def _trainings(group: Group, day: date) -> Iterable[Training]:
    """The trainings given until that day that were not withdrawn, of former members too: they were given."""
    found = Training.objects.of_group(group).filter(withdrawn_at=None, trained_on__lte=day)
    return found.select_related("kind").order_by("trained_on")


def _approved_pairs(group: Group, year: int) -> list[Pair]:
    found = pairs_of(group, year)
    return [pair for pair in found if {pair.first.status, pair.second.status} == {Status.APPROVED}]


def _members_who_may_be_named(group: Group, day: date) -> Iterable[Membership]:
    # Whatever they once agreed to: nobody under 18 is named in public.
    return Membership.objects.of_group(group).exclude(minor__until__gt=day).select_related("user")


def _leading(lists: Iterable[UUID]) -> dict[UUID, tuple[str, ...]]:
    return {list_id: indices[:MOST_COLUMNS] for list_id, indices in headlines_of(lists).items()}


def _all_sites(group: Group) -> list[Site]:
    return list(Site.objects.of_group(group).select_related("downstream").order_by("river", *by_code()))


def _was_open(site: Site, year: int) -> bool:
    begun = site.opened_on or timezone.localdate(site.created_at)
    return begun.year <= year and (site.closed_on is None or site.closed_on.year >= year)


def _visits_of_year(group: Group, year: int) -> Iterable[Visit]:
    found = Visit.objects.of_group(group).filter(visited_on__year=year)
    return (
        found.select_related("verdict__trigger", "recording_list", "site")
        .prefetch_related(_current_scores(), "counts", "spots", "findings", "corrected_by")
        .order_by("visited_on", "submitted_at")
    )


def _current_scores() -> Prefetch[str]:
    current = VisitScore.objects.across_groups("reached through visits of one group").filter(is_current=True)
    return Prefetch("scores", queryset=current, to_attr="current_scores")


def _incidents(group: Group, year: int) -> Iterable[Incident]:
    found = Incident.objects.of_group(group).filter(year=year).select_related("site")
    return found.prefetch_related("visits").order_by("number")
