"""Reading questions about visits: open ones of a person, answers that wait for a reviewer."""

from __future__ import annotations

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import VisitQuestion
from surveys.models.visits import Status


def questions_to(person: Person, group: Group) -> GroupOwnedQuerySet[VisitQuestion]:
    """What this person is asked and has not answered, about visits that still wait; oldest first."""
    return _waiting(group).filter(asked_of=person.user_id, answered_at=None)


def answers_waiting(group: Group) -> GroupOwnedQuerySet[VisitQuestion]:
    """Answers that came in for visits that still wait to be checked, oldest first."""
    return _waiting(group).filter(answered_at__isnull=False).order_by("answered_at")


def _waiting(group: Group) -> GroupOwnedQuerySet[VisitQuestion]:
    rows = VisitQuestion.objects.of_group(group).filter(visit__status=Status.WAITING)
    return rows.select_related("visit__site", "asked_by", "asked_of")
