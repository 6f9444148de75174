"""Reading a group's year from the database, in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from uuid import UUID

from django.db.models import Prefetch, Q

from alerts.models import Incident, Trigger
from portal.accounts.models import Group, Membership
from surveys.models import Site, Visit, VisitScore
from surveys.models.visits import Status
from surveys.people.hours import hours_beside_visits
from surveys.score_columns import headlines_of

# A chart of one year tells little of what is usual at a site; with the two years before it does.
YEARS_CHARTED = 3
# As many as fit beside date, trigger and verdict on paper.
MOST_COLUMNS = 4


@dataclass(frozen=True)
class YearRecords:
    """Everything a report is made from. `visits` are the year's, `earlier` those charted before it; `leading`
    has for each recording list the indices that its sites' tables show. `other_hours` are those that people
    gave beside visits.
    """

    group: Group
    year: int
    cut_off: datetime
    sites: Sequence[Site]
    visits: Sequence[Visit]
    earlier: Sequence[Visit]
    triggers: Sequence[Trigger]
    incidents: Sequence[Incident]
    members: Sequence[Membership]
    other_hours: float
    leading: Mapping[UUID, tuple[str, ...]]

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
    """Read the year `year` of `group` and what its charts need of the years before."""
    visits = list(_visits_of_year(group, year))
    visited = {visit.site_id for visit in visits}
    sites = [site for site in _all_sites(group) if site.pk in visited or _was_open(site, year)]
    return YearRecords(
        group=group,
        year=year,
        cut_off=cut_off,
        sites=sites,
        visits=visits,
        earlier=list(_visits_before(group, year)),
        triggers=list(Trigger.objects.of_group(group).order_by("valid_from", "created_at")),
        incidents=list(_incidents(group, year)),
        members=list(_members_who_may_be_named(group, cut_off.date())),
        other_hours=hours_beside_visits(group, year),
        leading=_leading(
            [site.recording_list_id for site in sites] + [each.recording_list_id for each in visits]
        ),
    )


def _members_who_may_be_named(group: Group, day: date) -> Iterable[Membership]:
    # Whatever they once agreed to: nobody under 18 is named in public.
    return Membership.objects.of_group(group).exclude(minor__until__gt=day).select_related("user")


def _leading(lists: Iterable[UUID]) -> dict[UUID, tuple[str, ...]]:
    return {list_id: indices[:MOST_COLUMNS] for list_id, indices in headlines_of(lists).items()}


def _all_sites(group: Group) -> list[Site]:
    return list(Site.objects.of_group(group).select_related("downstream").order_by("river", "code"))


def _was_open(site: Site, year: int) -> bool:
    begun = site.opened_on or site.created_at.date()
    return begun.year <= year and (site.closed_on is None or site.closed_on.year >= year)


def _visits_of_year(group: Group, year: int) -> Iterable[Visit]:
    found = Visit.objects.of_group(group).filter(visited_on__year=year)
    return (
        found.select_related("verdict__trigger", "recording_list", "site")
        .prefetch_related(_current_scores(), "counts", "spots", "findings", "corrected_by")
        .order_by("visited_on", "submitted_at")
    )


def _visits_before(group: Group, year: int) -> Iterable[Visit]:
    charted = Q(visited_on__year__lt=year, visited_on__year__gt=year - YEARS_CHARTED)
    found = Visit.objects.of_group(group).filter(charted, status=Status.APPROVED, was_made=True)
    return found.select_related("verdict").prefetch_related(_current_scores()).order_by("visited_on")


def _current_scores() -> Prefetch[str]:
    current = VisitScore.objects.across_groups("reached through visits of one group").filter(is_current=True)
    return Prefetch("scores", queryset=current, to_attr="current_scores")


def _incidents(group: Group, year: int) -> Iterable[Incident]:
    found = Incident.objects.of_group(group).filter(year=year).select_related("site")
    return found.prefetch_related("visits").order_by("number")
