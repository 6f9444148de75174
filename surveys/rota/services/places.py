"""What every change of a planned visit shares: its lock, its people, and what must never be."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.accounts.models import Group, User
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from surveys.errors import NotPossible
from surveys.people.queries import minor_user_ids
from surveys.rota.gathering import trained_days
from surveys.rota.models import LIVE, Assignment, PlannedVisit, SwapOffer

State = Assignment.State


def locked_plan(planned: PlannedVisit) -> PlannedVisit:
    """The planned visit under its lock: who comes first has it."""
    return locked_plans([planned])[0]


def locked_plans(wanted: Iterable[PlannedVisit]) -> list[PlannedVisit]:
    """Several at once, locked in one order for everybody, so that two swaps cannot wait for each other."""
    numbers = [each.pk for each in wanted]
    rows = PlannedVisit.objects.across_groups("the visits were found in their group").filter(pk__in=numbers)
    locked = {
        each.pk: each
        for each in rows.order_by("pk").select_for_update(of=("self",)).select_related("site", "group")
    }
    return [locked[number] for number in numbers]


def people_on(planned: PlannedVisit, *states: str) -> list[Assignment]:
    """Who is down for it, in these states."""
    rows = Assignment.objects.of_group(planned.group).filter(planned=planned, state__in=states or LIVE)
    return list(rows.select_related("user"))


def require_open(planned: PlannedVisit) -> None:
    """Raise NotPossible unless the visit is published and to come."""
    if not planned.is_published:
        raise NotPossible(_("This visit is not planned any more."))
    if not planned.is_coming():
        raise NotPossible(_("The day of this visit is past."))


def require_place(planned: PlannedVisit, people: Iterable[Assignment]) -> None:
    """Raise NotPossible where nobody more is needed."""
    if len(list(people)) >= planned.people_needed:
        raise NotPossible(_("Everybody who is needed is down already. Take somebody off first."), "user")


def require_fit(planned: PlannedVisit, user: User, *, instead_of: Assignment | None = None) -> None:
    """Raise NotPossible for somebody who is no member, not trained, or down for another visit that day."""
    if not members_of(planned.group).filter(user=user).exists():
        raise NotPossible(_("Choose a member of this group."), "user")
    trained = trained_days(planned.group, planned.day, planned.day)
    if trained is not None and planned.day not in trained.get(user.pk, ()):
        raise NotPossible(
            _("%(name)s has no training in force on that day. Mend the record of training first.")
            % {"name": user.name},
            "user",
        )
    require_free(planned.group, user, planned.day, but=[planned, *([instead_of.planned] if instead_of else [])])


@wide("nobody goes to two places on one day, whoever asked them")
def require_free(group: Group, user: User, day: date, *, but: Iterable[PlannedVisit] = ()) -> None:
    """Raise NotPossible where the person goes somewhere else on that day, for whichever group."""
    rows = Assignment.objects.across_groups("nobody goes to two places on one day, whoever asked them")
    down = Q(state__in=LIVE) | Q(state=State.PROPOSED, planned__group=group)
    # Drafts of other groups bind nobody and are not told of here.
    others = rows.filter(down, user=user, day=day)
    if others.exclude(planned__in=[each.pk for each in but]).exists():
        facts = {"name": user.name, "day": date_format(day, "j F")}
        raise NotPossible(_("%(name)s goes to another site on %(day)s.") % facts, "user")


def require_adult(planned: PlannedVisit, people: Iterable[UUID]) -> None:
    """Raise NotPossible where only people under 18 would go."""
    if only_minors(planned.group, planned.day, people):
        raise NotPossible(_("Only people under 18 would be down for it. An adult goes first."), "user")


def only_minors(group: Group, day: date, people: Iterable[UUID]) -> bool:
    """Whether there is somebody, and nobody of them is 18."""
    wanted = set(people)
    return bool(wanted) and wanted <= minor_user_ids(group, day)


def put_down(planned: PlannedVisit, user: User, state: str, **facts: Any) -> Assignment:
    """Put a person down for a visit; whoever was down before keeps their row and its place in calendars."""
    values = {"state": state, "day": planned.day, "updated_at": timezone.now(), **facts}
    row, is_new = Assignment.objects.across_groups("the visit names its group").get_or_create(
        planned=planned, user=user, defaults=values
    )
    if not is_new:
        for name, value in values.items():
            setattr(row, name, value)
        touch(row)
    return row


def touch(row: PlannedVisit | Assignment) -> None:
    """Save it so that subscribed calendars take the change over."""
    row.sequence += 1
    row.updated_at = timezone.now()
    row.save()


def void_swaps(assignment: Assignment) -> None:
    """Swaps of a place that nobody holds any more come to nothing."""
    for end in ("mine", "yours"):
        rows = SwapOffer.objects.across_groups("the place names its group").filter(**{end: assignment})
        rows.filter(state=SwapOffer.State.OPEN).update(state=SwapOffer.State.VOID, answered_at=timezone.now())
