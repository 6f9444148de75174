"""Reading what a group keeps of its people: for pages, desk, rota and report."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import CharField, F, QuerySet, Value

from portal.accounts.models import Group, Membership, User
from portal.accounts.prepared import planned, prepared
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.models import AuditEntry
from portal.audit.services import history_of
from surveys.people.hours import Hours, hours_given, hours_of
from surveys.people.models import Enquiry, EnquiryState, Minor, Permit, Training, TrainingKind
from surveys.people.models.enquiries import OPEN_STATES
from surveys.people.pairs import Readiness

__all__ = [
    "Hours",
    "Lapsing",
    "hours_given",
    "is_minor",
    "lapsing_trainings",
    "may_sample",
    "minor_user_ids",
    "open_enquiries",
    "readiness_of",
    "trainings_of",
]
LAPSE_DAYS = 60
SETTLED_SHOWN, HISTORY_SHOWN = 30, 60
# Who looked at an emergency contact; told to the person alone.
LOOKED = "membership.emergency_looked"
FOR_SAMPLING = (Permit.SAMPLE, Permit.LEAD)


@dataclass(frozen=True)
class Lapsing:
    """A training that lapses soon or has lapsed, with nothing of its kind after it."""

    training: Training
    until: date

    @property
    def membership(self) -> Membership:
        return self.training.membership

    @property
    def kind(self) -> TrainingKind:
        return self.training.kind

    @property
    def person(self) -> User:
        return self.membership.user


def trainings_of(group: Group) -> GroupOwnedQuerySet[Training]:
    """The trainings that count of the group's present members; those withdrawn are left out."""
    found = Training.objects.of_group(group).filter(
        withdrawn_at=None, membership__left_at=None, membership__user__is_active=True
    )
    return found.select_related("kind", "membership__user").order_by("trained_on")


def lapsing_trainings(group: Group, day: date) -> list[Lapsing]:
    """Who must train again within `LAPSE_DAYS` of `day`, the first to lapse first; lapsed ones lead.

    Kinds that the group no longer keeps are left out. One query.
    """
    lapsing = _lapsing(group, day, day + timedelta(days=LAPSE_DAYS))
    found = [Lapsing(each, each.valid_until) for each in lapsing if each.valid_until]
    return sorted(found, key=lambda each: (each.until, each.person.name))


@planned
def _lapsing(group: Group, day: date, limit: date) -> GroupOwnedQuerySet[Training]:
    of_one = ("membership_id", "kind_id")
    longest = F("valid_until").desc(nulls_first=True)
    told = trainings_of(group).filter(kind__retired_at=None, trained_on__lte=day)
    latest = told.order_by(*of_one, longest, "-trained_on").distinct(*of_one)
    return trainings_of(group).filter(pk__in=latest.values("pk"), valid_until__lte=limit)


def may_sample(group: Group, day: date) -> dict[UUID, set[str]]:
    """What each member with a training in force on `day` may do: user id to values of `Permit`. One query."""
    found: dict[UUID, set[str]] = defaultdict(set)
    in_force = trainings_of(group).filter(trained_on__lte=day).exclude(valid_until__lt=day)
    for user_id, permit in in_force.values_list("membership__user_id", "kind__permits"):
        found[user_id].add(permit)
    return dict(found)


def readiness_of(group: Group, user_ids: Iterable[UUID], day: date) -> Readiness:
    """What the rules of a visit need to know of those who went on `day`. One query."""
    allowed: dict[UUID, set[str]] = {each: set() for each in user_ids}
    told = _trained_and_minors(group)
    for user_id, permits, begins, ends in told:
        if permits and user_id in allowed and begins <= day <= (ends or date.max):
            allowed[user_id].add(permits)
    may = {user_id: frozenset(permits) for user_id, permits in allowed.items()}
    minors = {user_id for user_id, permits, _begins, until in told if not permits and until > day}
    return Readiness(any(permits for _user, permits, *_days in told), may, frozenset(minors))


@planned
def _trained_and_minors(group: Group) -> QuerySet[Any, tuple[Any, ...]]:
    """Account, what it may do, and the days of each training for sampling; without a permit, who is a minor."""
    rows = Training.objects.of_group(group).filter(withdrawn_at=None, kind__permits__in=FOR_SAMPLING)
    of_one = ("membership__user_id", "kind__permits", "trained_on", "valid_until")
    none = Value("", output_field=CharField())
    minors = Minor.objects.of_group(group).values_list("membership__user_id", none, "until", "until")
    return rows.order_by().values_list(*of_one).union(minors.order_by(), all=True)


def is_minor(membership: Membership, day: date) -> bool:
    """Whether the member is under 18 on `day`."""
    return Minor.objects.of_group(membership.group).filter(membership=membership, until__gt=day).exists()


def minor_user_ids(group: Group, day: date) -> set[UUID]:
    """The accounts of members under 18 on `day`; also of those who left since. One query."""
    return set(_minors(group, day))


@prepared
def _minors(group: Group, day: date) -> QuerySet[Minor, UUID]:
    return minor_accounts(group, day)


def minor_accounts(group: Group, day: date) -> QuerySet[Minor, UUID]:
    """The same as a query, to stand inside another."""
    found = Minor.objects.of_group(group).filter(until__gt=day)
    return found.values_list("membership__user_id", flat=True)


def open_enquiries(group: Group) -> GroupOwnedQuerySet[Enquiry]:
    """Enquiries that wait for a step, the oldest first; those whose address is unconfirmed are left out."""
    found = Enquiry.objects.of_group(group).filter(state__in=OPEN_STATES)
    return found.select_related("first_site", "supervisor", "invitation", "taken_by").order_by("asked_at")


def settled_enquiries(group: Group) -> list[Enquiry]:
    """Enquiries that ended lately: joined, or put off; the latest first."""
    ended = Enquiry.objects.of_group(group).filter(state__in=(EnquiryState.JOINED, EnquiryState.NOT_NOW))
    return list(ended.select_related("membership__user").order_by("-changed_at")[:SETTLED_SHOWN])


def former_members(group: Group) -> GroupOwnedQuerySet[Membership]:
    """Who left, the latest first."""
    rows = Membership.objects.of_group(group).exclude(left_at=None)
    return rows.select_related("user").order_by("-left_at")


@dataclass(frozen=True)
class PersonRecord:
    """What a group keeps of one person, but for whom to ring. `years` are hours, the latest year first."""

    membership: Membership
    trainings: list[Training]
    permits: list[str]
    minor: Minor | None
    years: list[Hours]
    history: list[AuditEntry]


def record_of(membership: Membership, today: date) -> PersonRecord:
    """Everything of one person; a guardian's contact stands with them until they are 18."""
    group = membership.group
    rows = Training.objects.of_group(group).filter(membership=membership)
    trainings = list(rows.select_related("kind", "trainer", "own_visit__site"))
    in_force = {each.kind.permits for each in trainings if each.in_force(today)} - {Permit.OTHER}
    return PersonRecord(
        membership=membership,
        trainings=trainings,
        permits=[str(each.label) for each in Permit if each in in_force],
        minor=Minor.objects.of_group(group).filter(membership=membership, until__gt=today).first(),
        years=[hours_of(membership, year) for year in (today.year, today.year - 1)],
        history=list(history_of(membership, group).exclude(verb=LOOKED).order_by("-at")[:HISTORY_SHOWN]),
    )


@dataclass(frozen=True)
class TrainingRow:
    """A member, and for each kind the latest training that counts (None: never trained)."""

    membership: Membership
    cells: list[Training | None]


def training_table(
    group: Group, today: date, members: Iterable[Membership]
) -> tuple[list[TrainingKind], list[TrainingRow]]:
    """These members against the kinds the group keeps. Two queries."""
    members = list(members)
    kinds = list(TrainingKind.objects.of_group(group).filter(retired_at=None))
    latest: dict[tuple[UUID, UUID], Training] = {}
    for each in trainings_of(group).filter(trained_on__lte=today, membership__in=members):
        key = (each.membership_id, each.kind_id)
        if key not in latest or _until(each) >= _until(latest[key]):
            latest[key] = each
    rows = [TrainingRow(member, [latest.get((member.pk, kind.pk)) for kind in kinds]) for member in members]
    return kinds, rows


def _until(training: Training) -> date:
    return training.valid_until or date.max
