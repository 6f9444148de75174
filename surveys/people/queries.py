"""Reading what a group keeps of its people: for pages, desk, rota and report."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from portal.accounts.models import Group, Membership, User
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.people.hours import Hours, hours_given
from surveys.people.models import Enquiry, Minor, Permit, Training, TrainingKind
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
FOR_SAMPLING = (Permit.SAMPLE, Permit.LEAD)


@dataclass(frozen=True)
class Lapsing:
    """A training that lapses soon or has lapsed, with nothing of its kind after it."""

    membership: Membership
    kind: TrainingKind
    until: date
    training_id: UUID

    @property
    def person(self) -> User:
        return self.membership.user


def trainings_of(group: Group) -> GroupOwnedQuerySet[Training]:
    """The trainings that count of the group's present members; those withdrawn are left out."""
    found = Training.objects.of_group(group).filter(
        withdrawn_at=None, membership__left_at=None, membership__user__is_active=True
    )
    return found.select_related("kind", "membership__user").order_by("trained_on")


def lapsing_trainings(group: Group, day: date, within_days: int = LAPSE_DAYS) -> list[Lapsing]:
    """Who must train again within so many days of `day`, the first to lapse first; lapsed ones lead.

    Kinds that the group no longer keeps are left out. One query.
    """
    latest: dict[tuple[UUID, UUID], Training] = {}
    for each in trainings_of(group).filter(kind__retired_at=None, trained_on__lte=day):
        key = (each.membership_id, each.kind_id)
        before = latest.get(key)
        if before is None or (each.valid_until or date.max) >= (before.valid_until or date.max):
            latest[key] = each
    limit = day + timedelta(days=within_days)
    found = [
        Lapsing(each.membership, each.kind, each.valid_until, each.pk)
        for each in latest.values()
        if each.valid_until and each.valid_until <= limit
    ]
    return sorted(found, key=lambda each: (each.until, each.person.name))


def may_sample(group: Group, day: date) -> dict[UUID, set[str]]:
    """What each member with a training in force on `day` may do: user id to values of `Permit`. One query."""
    found: dict[UUID, set[str]] = defaultdict(set)
    in_force = trainings_of(group).filter(trained_on__lte=day).exclude(valid_until__lt=day)
    for user_id, permit in in_force.values_list("membership__user_id", "kind__permits"):
        found[user_id].add(permit)
    return dict(found)


def readiness_of(group: Group, user_ids: Iterable[UUID], day: date) -> Readiness:
    """What the rules of a visit need to know of those who went on `day`. Two queries."""
    wanted = set(user_ids)
    rows = Training.objects.of_group(group).filter(withdrawn_at=None, kind__permits__in=FOR_SAMPLING)
    allowed: dict[UUID, set[str]] = {each: set() for each in wanted}
    found = list(rows.select_related("kind", "membership"))
    for each in found:
        if each.membership.user_id in wanted and each.in_force(day):
            allowed[each.membership.user_id].add(each.kind.permits)
    may = {user_id: frozenset(permits) for user_id, permits in allowed.items()}
    return Readiness(bool(found), may, frozenset(minor_user_ids(group, day)))


def is_minor(membership: Membership, day: date) -> bool:
    """Whether the member is under 18 on `day`."""
    return Minor.objects.of_group(membership.group).filter(membership=membership, until__gt=day).exists()


def minor_user_ids(group: Group, day: date) -> set[UUID]:
    """The accounts of members under 18 on `day`; also of those who left since. One query."""
    found = Minor.objects.of_group(group).filter(until__gt=day)
    return set(found.values_list("membership__user_id", flat=True))


def open_enquiries(group: Group) -> GroupOwnedQuerySet[Enquiry]:
    """Enquiries that wait for a step, the oldest first; those whose address is unconfirmed are left out."""
    found = Enquiry.objects.of_group(group).filter(state__in=OPEN_STATES)
    return found.select_related("first_site", "supervisor", "invitation", "taken_by").order_by("asked_at")
