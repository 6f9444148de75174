"""Reading visits, what waits, what is due, and a site's history."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, FilteredRelation, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.utils import timezone

from portal.accounts.access import Person
from portal.accounts.counting import number_of
from portal.accounts.models import Group
from portal.accounts.prepared import prepared
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Draft, Finding, Photo, Site, Visit, VisitScore
from surveys.models.visits import Status
from surveys.outings.rivers import with_high_until
from surveys.visits.effort import is_standard, plan_of
from surveys.visits.parts import effort_of, with_parts

# A visit counts as on time within a week of its day: common practice, no source.
DUE_WINDOW = timedelta(days=7)
# What a point is made of, in the order in which `history_point` reads it.
OF_POINT = (
    *("site_id", "pk", "visited_on", "value", "low", "high"),
    *("status", "packed_effort", "recorder_id", "partner_id"),
)


@dataclass(frozen=True)
class HistoryPoint:
    """One visit's value of one index; `low` and `high` are given where ranges leave more than one value."""

    visit_id: UUID
    when: date
    value: float | None
    low: float | None
    high: float | None
    status: str
    is_standard: bool
    # The accounts of those who were there.
    people: frozenset[UUID | None] = frozenset()

    @property
    def is_sound(self) -> bool:
        """Whether it can be compared with other visits: approved, scored and of standard effort."""
        return self.status == Status.APPROVED and self.is_standard and self.value is not None


@dataclass(frozen=True)
class DueSite:
    """When a site is to be visited next; state "first", "later", "due" (within the window), "late" or "high".

    "high" stands in place of any other while the river is above the site's limit, until `high_until` as far
    as is known: nobody is asked to go there then.
    """

    site: Site
    last_visit_on: date | None
    due_on: date | None
    state: str
    high_until: datetime | None = None


def visits_of(group: Group) -> GroupOwnedQuerySet[Visit]:
    """The group's visits, newest first, with site, people and current scores."""
    return (
        Visit.objects.of_group(group)
        .select_related("site", "recorder", "partner", "entered_by", "reviewed_by")
        .prefetch_related(current_scores())
    )


def current_scores() -> Prefetch[str]:
    """Prefetch that puts a visit's scores in force into `visit.current_scores`."""
    rows = VisitScore.objects.across_groups("narrowed by the visits that fetch them").filter(is_current=True)
    return Prefetch("scores", queryset=rows, to_attr="current_scores")


def visits_waiting(group: Group) -> GroupOwnedQuerySet[Visit]:
    """What waits to be checked, longest first, with its findings still open in `visit.open_findings`."""
    # Counted by the reader before anything else: what is unusual decides how long a check takes.
    findings = Finding.objects.across_groups("narrowed by the visits that fetch them")
    still_open: Any = Prefetch("findings", queryset=findings.filter(decision=""), to_attr="open_findings")
    waiting = visits_of(group).filter(status=Status.WAITING).order_by("submitted_at")
    return waiting.prefetch_related(still_open)


def number_waiting(group: Group) -> int:
    """How many visits wait to be checked."""
    (found,) = _number_waiting(group)
    return found


@prepared
def _number_waiting(group: Group) -> QuerySet[Any, int]:
    return Group.objects.filter(pk=group.pk).values_list(number_of(visits_waiting(group)), flat=True)


def site_history(site: Site, index: str) -> list[HistoryPoint]:
    """Every made visit of a site with its present value of an index, oldest first (one query)."""
    return site_histories([site], index)[site.pk]


def site_histories(sites: Sequence[Site], index: str) -> dict[UUID, list[HistoryPoint]]:
    """The same of several sites of one group, by the site's id (one query)."""
    found: dict[UUID, list[HistoryPoint]] = {each.pk: [] for each in sites}
    by_id = {each.pk: each for each in sites}
    groups = tuple({each.group_id for each in sites})
    for row in history_rows(groups, tuple(by_id), index).values_list(*OF_POINT):
        found[row[0]].append(history_point(row, by_id[row[0]]))
    return found


def history_rows(groups: Sequence[UUID], sites: Sequence[UUID], index: str) -> GroupOwnedQuerySet[Visit]:
    """The made visits to these sites of these groups, oldest first; points are made of their `OF_POINT`."""
    wanted = FilteredRelation("scores", condition=Q(scores__is_current=True, scores__index=index))
    visits = Visit.objects.filter(group__in=groups, site__in=sites, was_made=True)
    values = {name: F(f"wanted__{name}") for name in ("value", "low", "high")}
    in_order = visits.annotate(wanted=wanted).annotate(**values).order_by("visited_on", "submitted_at")
    return with_parts(in_order, "effort")


def history_point(row: Sequence[Any], site: Site) -> HistoryPoint:
    """`OF_POINT` of one of `history_rows` as a point: ten years of a site are a hundred visits."""
    _site, number, when, value, low, high, status, effort, recorder, partner = row
    # No score in force is a point without a value, which a chart shows as a gap and not as nought.
    standard = is_standard(effort_of(effort), plan_of(site))
    people = frozenset(each for each in (recorder, partner) if each is not None)
    return HistoryPoint(number, when, value, low, high, status, standard, people)


def sites_due(group: Group, today: date) -> list[DueSite]:
    """The open sites of a group with the day of their next visit, the most pressing first (one query).

    Sites whose river is above its limit come last.
    """
    due = [due_of(site, today) for site in _open_sites(group, today, timezone.now())]
    return sorted((each for each in due if each), key=_urgency)


@prepared
def _open_sites(group: Group, today: date, now: datetime) -> GroupOwnedQuerySet[Site]:
    sites = Site.objects.of_group(group).filter(Q(closed_on=None) | Q(closed_on__gte=today))
    return with_last_visit(sites, now)


def with_last_visit(sites: GroupOwnedQuerySet[Site], now: datetime | None = None) -> GroupOwnedQuerySet[Site]:
    """The sites with all that `due_of` needs."""
    # A visit that could not be made leaves the site as due as it was.
    # Site by site from the index: joined to their visits, PostgreSQL reads those of everybody.
    visits = Visit.objects.across_groups("narrowed by the sites that ask")
    made = visits.filter(site=OuterRef("pk"), was_made=True)
    newest = made.order_by("-visited_on").values("visited_on")[:1]
    dated = sites.annotate(last_visit_on=Subquery(newest))
    rows: GroupOwnedQuerySet[Site] = with_high_until(dated, now or timezone.now())
    return rows


def due_of(site: Site, today: date) -> DueSite | None:
    """When a site of `with_last_visit` is due; None for one that is closed (no query)."""
    if site.closed_on is not None and site.closed_on < today:
        return None
    return _unless_high(_due(site, site.last_visit_on, today))  # type: ignore[attr-defined]


def _unless_high(due: DueSite) -> DueSite:
    until: datetime | None = due.site.high_until  # type: ignore[attr-defined]
    return replace(due, state="high", high_until=until) if until else due


def _due(site: Site, last: date | None, today: date) -> DueSite:
    # Never visited is neither late nor due: nobody has said when the first visit should be.
    if last is None:
        return DueSite(site, None, site.opened_on, "first")
    due_on = last + timedelta(days=site.visit_interval_days)
    # Out of season nothing is due, however long ago it was: the next season begins with it.
    due_on = site.season_day(due_on if site.in_season(today) else max(due_on, today))
    if today > due_on + DUE_WINDOW:
        return DueSite(site, last, due_on, "late")
    return DueSite(site, last, due_on, "due" if today >= due_on - DUE_WINDOW else "later")


def _urgency(due: DueSite) -> tuple[bool, date]:
    # By code among those alike, as they come from the database.
    return due.state == "high", due.due_on or date.min


def own_drafts(person: Person) -> GroupOwnedQuerySet[Draft]:
    """The person's own drafts in the groups they still belong to, last touched first."""
    drafts = Draft.objects.visible_to(person).filter(entered_by=person.user_id)
    # An autosave that crossed its own submission may leave a draft behind; the visit is what counts.
    drafts = drafts.exclude(Exists(Visit.objects.filter(pk=OuterRef("pk"))))
    return drafts.select_related("site", "group").order_by("-updated_at")


def photos_of(thing: Visit | Draft) -> GroupOwnedQuerySet[Photo]:
    """The pictures of a visit or draft, which share its number."""
    # Named by number and not by a key: pictures are taken on the bank, before there is a visit.
    return Photo.objects.filter(group=thing.group_id, visit_number=thing.pk)


def list_of_photos(thing: Visit | Draft) -> list[Photo]:
    """The same, read."""
    return _photos(thing.group_id, thing.pk)


@prepared
def _photos(group: UUID, number: UUID) -> GroupOwnedQuerySet[Photo]:
    return Photo.objects.filter(group=group, visit_number=number)
