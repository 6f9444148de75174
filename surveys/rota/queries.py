"""Reading the rota: what is planned, who goes, what is open, and what a person can do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Exists, OuterRef, Prefetch, Subquery
from django.utils import timezone

from portal.accounts.access import Person, allowed
from portal.accounts.counting import number_of
from portal.accounts.models import Group, Membership, User
from portal.accounts.prepared import planned
from portal.accounts.queries import members_of
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Visit
from surveys.models.codes import by_code
from surveys.models.visits import NotMade
from surveys.people.queries import minor_accounts
from surveys.rota.due import site_obstacle
from surveys.rota.gathering import place_of_site, volunteers_of
from surveys.rota.models import (
    LIVE,
    Assignment,
    Availability,
    CoverOffer,
    PlannedVisit,
    Proposal,
    SwapOffer,
)
from surveys.rota.volunteers import Volunteer

PAST_SHOWN = timedelta(days=21)
State = PlannedVisit.State


@dataclass(frozen=True)
class Plan:
    """A planned visit with its people and what was recorded for it.

    `outcome` is "draft", "cancelled", "made", "not_made", "coming", "open" (places open) or "missed" (nothing
    was recorded, and its window is over).
    """

    planned: PlannedVisit
    people: list[Assignment]
    outcome: str
    minors: frozenset[UUID]

    @property
    def open_places(self) -> int:
        return max(0, self.planned.people_needed - len(self.people))

    @property
    def lone_minor(self) -> bool:
        """Whether only people under 18 are down: then nobody goes until an adult is."""
        return bool(self.people) and all(each.user_id in self.minors for each in self.people)

    @property
    def obstacle(self) -> str:
        """Why nobody may go after all, such as a permission that has run out since it was planned."""
        return site_obstacle(self.planned.site, self.planned.day) if self.is_ahead else ""

    @property
    def is_ahead(self) -> bool:
        """Whether it is still to be made."""
        return self.outcome in ("coming", "open")

    @property
    def needs_care(self) -> bool:
        """Whether a coordinator has to do something: find people, an adult, or another day."""
        return self.outcome == "open" or (self.is_ahead and (self.lone_minor or bool(self.obstacle)))

    @property
    def recorded_id(self) -> UUID | None:
        found: UUID | None = getattr(self.planned, "recorded_id", None)
        return found

    @property
    def not_made_because(self) -> str:
        reason = getattr(self.planned, "recorded_reason", "")
        return str(NotMade(reason).label) if reason else ""

    def of(self, user_id: UUID | None) -> Assignment | None:
        """The person's own place, if they have one."""
        return next((each for each in self.people if each.user_id == user_id), None)


@dataclass(frozen=True)
class DeskRota:
    """What the rota puts on the desk of one person.

    `covers` are plans with an open place that the person was asked to take (by `planned.offer_id`);
    `uncovered` and `drafts` are for coordinators.
    """

    own: list[Plan]
    covers: list[Plan]
    uncovered: list[Plan]
    drafts: int
    has_said_when: bool

    @property
    def is_empty(self) -> bool:
        return not (self.own or self.covers or self.uncovered or self.drafts)


def with_recorded(rows: Any) -> Any:
    """The planned visits with the recorded visit that answers each: a made one before one that was not made."""
    # Read and never stored: a visit that is corrected, loaded late or taken back answers its plan at once.
    found = Visit.objects.filter(
        site=OuterRef("site"),
        visited_on__gte=OuterRef("window_from"),
        visited_on__lte=OuterRef("window_until"),
    ).order_by("-was_made", "-visited_on")
    return rows.annotate(
        recorded_id=Subquery(found.values("pk")[:1]),
        recorded_made=Subquery(found.values("was_made")[:1]),
        recorded_reason=Subquery(found.values("not_made_reason")[:1]),
    )


def planned_visits(group: Group) -> GroupOwnedQuerySet[PlannedVisit]:
    """The group's planned visits, drafts among them, with site, people and what was recorded."""
    rows = PlannedVisit.objects.of_group(group).select_related("site", "group")
    found: GroupOwnedQuerySet[PlannedVisit] = with_recorded(rows).prefetch_related(_people())
    return found


def _people() -> Prefetch[str]:
    rows = Assignment.objects.across_groups("narrowed by the planned visits that fetch them")
    return Prefetch("assignments", queryset=rows.select_related("user").order_by("user__name"))


def plan_of(planned: PlannedVisit, today: date, minors: Iterable[UUID] = ()) -> Plan:
    """One planned visit as pages show it; drafts count proposed people too."""
    shown = {*LIVE, Assignment.State.PROPOSED} if planned.is_draft else set(LIVE)
    people = [each for each in planned.assignments.all() if each.state in shown]
    return Plan(planned, people, _outcome(planned, len(people), today), frozenset(minors))


def _outcome(planned: PlannedVisit, people: int, today: date) -> str:
    if planned.state != State.PUBLISHED:
        return str(planned.state)
    if getattr(planned, "recorded_id", None):
        return "made" if planned.recorded_made else "not_made"  # type: ignore[attr-defined]
    if planned.window_until < today:
        return "missed"
    return "open" if people < planned.people_needed else "coming"


def plans(group: Group, today: date, *states: str) -> list[Plan]:
    """The planned visits in these states from some weeks ago on, by day (2 queries)."""
    return _shown(planned_visits(group).filter(state__in=states, day__gte=today - PAST_SHOWN), group, today)


def _shown(rows: GroupOwnedQuerySet[PlannedVisit], group: Group, today: date) -> list[Plan]:
    found: Any = _with_minors(rows, group, today)
    return [plan_of(each, today, each.minor_ids) for each in found]


def _with_minors(
    rows: GroupOwnedQuerySet[PlannedVisit], group: Group, today: date
) -> GroupOwnedQuerySet[PlannedVisit]:
    found: Any = rows.annotate(minor_ids=ArraySubquery(minor_accounts(group, today)))
    return found.order_by("day", *by_code("site__"))  # type: ignore[no-any-return]


def proposed_places(group: Group) -> list[Assignment]:
    """People proposed for open places of visits that are published already."""
    rows = Assignment.objects.of_group(group).filter(
        state=Assignment.State.PROPOSED, planned__state="published"
    )
    return list(rows.select_related("planned__site", "planned__group", "user").order_by("day"))


def proposal_of(group: Group) -> Proposal | None:
    """The latest proposal."""
    return Proposal.objects.of_group(group).select_related("made_by").first()


def availability_of(person: Person, group: Group) -> Availability | None:
    """What the person has said to this group."""
    rows = Availability.objects.of_group(group).filter(user=person.user_id)
    return rows.prefetch_related("named_days", "near_sites").first()


def silent_members(group: Group) -> list[User]:
    """Members who have not said when they can."""
    said = Availability.objects.of_group(group).filter(has_said_when=True).values("user")
    return [each.user for each in members_of(group).exclude(user__in=said)]


def fits_of(planned: PlannedVisit, present: Iterable[Membership] | None = None) -> list[tuple[Volunteer, str]]:
    """Everybody who said when they can, with what keeps each from this visit ("" for nothing).

    Whoever is down for it already is left out; whoever said that they cannot come to it has "declined".
    `present` are the group's members, where the page has read them already.
    """
    live = {each.user_id for each in planned.assignments.all() if each.state in (*LIVE, "proposed")}
    said_no = {each.user_id for each in planned.assignments.all() if each.state == Assignment.State.DECLINED}
    place = place_of_site(planned.site)
    found = []
    for each in volunteers_of(planned.group, planned.day, planned.day, present):
        if each.user_id not in live:
            hindrance = each.obstacle(place, planned.day)
            found.append((each, "declined" if each.user_id in said_no else str(hindrance or "")))
    return found


def people_free(group: Group, from_day: date, to_day: date) -> list[User]:
    """Members who can go on one day of the span at least: trained where that is kept, and not down elsewhere.

    For repeat visits: whoever never said when they can is left out, so ask everybody where the list is empty.
    """
    days = [from_day + timedelta(days=n) for n in range((to_day - from_day).days + 1)]
    free = {
        each.user_id
        for each in volunteers_of(group, from_day, to_day)
        if any(_is_free(each, day) for day in days)
    }
    return [each.user for each in members_of(group) if each.user_id in free]


def _is_free(volunteer: Volunteer, day: date) -> bool:
    is_trained = volunteer.trained_on is None or day in volunteer.trained_on
    return is_trained and volunteer.offers(day) and day not in volunteer.busy


def rota_figures(person: Person, group: Group) -> dict[str, Any]:
    """What the desk counts of the rota, read with its other figures: drafts, and whether they said when."""
    said = Availability.objects.of_group(group).filter(user=person.user_id, has_said_when=True)
    drafts = PlannedVisit.objects.of_group(group).filter(state=State.DRAFT)
    return {"rota_drafts": number_of(drafts), "has_said_when": Exists(said)}


def desk_of(person: Person, group: Group, today: date, *, drafts: int, has_said_when: bool) -> DeskRota:
    """The person's own visits to come, places they may take, and for coordinators what is uncovered.

    2 queries, however much is planned; what is counted comes by `rota_figures`.
    """
    may_plan = allowed(person, "rota.plan", group)
    rows: list[Any] = _offered(group, person.user_id, today)
    coming: list[Any] = [plan_of(each, today, each.minor_ids) for each in rows]
    own = [each for each in coming if each.of(person.user_id)]
    uncovered = [each for each in coming if each.needs_care]
    return DeskRota(
        own=[each for each in own if each.is_ahead],
        covers=[
            each for each in coming if each.planned.offer_id and each.outcome == "open" and each not in own
        ],
        uncovered=uncovered if may_plan else [],
        drafts=drafts if may_plan else 0,
        has_said_when=has_said_when,
    )


@planned
def _offered(group: Group, user_id: UUID | None, today: date) -> GroupOwnedQuerySet[PlannedVisit]:
    rows = planned_visits(group).filter(state=State.PUBLISHED, day__gte=today)
    offers = CoverOffer.objects.filter(planned=OuterRef("pk"), user=user_id, taken_at=None)
    offered: Any = rows.annotate(offer_id=Subquery(offers.values("pk")[:1]))
    return _with_minors(offered, group, today)


def open_offers(person: Person, group: Group, today: date) -> list[CoverOffer]:
    """Places the person was asked to take that are open still."""
    rows = CoverOffer.objects.of_group(group).filter(user=person.user_id, taken_at=None)
    rows = rows.filter(planned__state=State.PUBLISHED, planned__day__gte=today)
    found = rows.select_related("planned__site", "planned__group").prefetch_related("planned__assignments")
    return [each for each in found.order_by("planned__day") if _has_place_for(each)]


def _has_place_for(offer: CoverOffer) -> bool:
    live = [each.user_id for each in offer.planned.assignments.all() if each.state in LIVE]
    return len(live) < offer.planned.people_needed and offer.user_id not in live


def swap_choices(own: Assignment) -> list[Assignment]:
    """Places of others on published visits to come that somebody could swap theirs for."""
    planned = own.planned
    rows = Assignment.objects.of_group(planned.group).filter(state__in=LIVE, day__gte=timezone.localdate())
    rows = rows.exclude(user=own.user_id).exclude(planned=planned.pk).filter(planned__state=State.PUBLISHED)
    return list(rows.select_related("planned__site", "planned__group", "user").order_by("day", "user__name"))


def open_swaps(group: Group, today: date) -> list[SwapOffer]:
    """Swaps that wait for an answer, of visits to come."""
    rows = SwapOffer.objects.of_group(group).filter(state=SwapOffer.State.OPEN, mine__day__gte=today)
    ends = [f"{end}__{part}" for end in ("mine", "yours") for part in ("user", "planned__site")]
    return list(rows.filter(yours__day__gte=today).select_related(*ends))
