"""The order in which visits are checked, and which of them can be approved without opening them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Case, IntegerField, Prefetch, Q, Value, When
from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Visit, VisitQuestion
from surveys.models.visits import Status
from surveys.queries import visits_waiting

QUEUE_ROWS = 50
LOW = "below"


def waiting_in_order(group: Group) -> GroupOwnedQuerySet[Visit]:
    """What waits: visits below their trigger first, then the longest waiting.

    Each with open findings, everybody involved and what was asked in `visit.asked`.
    """
    asked = VisitQuestion.objects.across_groups("narrowed by the visits that fetch them")
    rows = visits_waiting(group).prefetch_related("corrected_by", Prefetch("questions", asked, to_attr="asked"))
    return _ordered(rows)  # type: ignore[arg-type]


def _ordered(rows: GroupOwnedQuerySet[Visit]) -> GroupOwnedQuerySet[Visit]:
    # By its name alone: the verdict is kept by the floor above, which this one never imports.
    is_low = When(verdict__outcome=LOW, then=Value(0))
    rank = Case(is_low, default=Value(1), output_field=IntegerField())
    return rows.annotate(rank=rank).order_by("rank", "submitted_at", "pk")  # type: ignore[return-value]


def next_waiting(person: Person, visit: Visit) -> Visit | None:
    """The visit to check next, that the person may decide; after the last the first again, else None.

    With its site. The visit's verdict should be fetched. One query, however many wait.
    """
    is_low = getattr(getattr(visit, "verdict", None), "outcome", "") == LOW
    found = _after(visit.group, person.user_id, visit.pk, visit.submitted_at, 0 if is_low else 1)
    return found[0] if found else None


@planned
def _after(
    group: Group, me: UUID | None, number: UUID, submitted_at: datetime, rank: int
) -> GroupOwnedQuerySet[Visit]:
    involved = Q(entered_by=me) | Q(recorder=me) | Q(partner=me) | Q(corrected_by=me)
    # Of those that wait: to look through what a group has approved in ten years takes long.
    mine = Visit.objects.of_group(group).filter(involved, status=Status.WAITING).values("pk")
    others = Visit.objects.of_group(group).filter(status=Status.WAITING).exclude(pk=number)
    open_ones: Any = _ordered(others.exclude(pk__in=mine)).select_related("site")
    later = Q(rank=rank, submitted_at__gt=submitted_at) | Q(rank__gt=rank)
    same_moment = Q(rank=rank, submitted_at=submitted_at, pk__gt=number)
    is_later = Case(When(later | same_moment, then=Value(0)), default=Value(1), output_field=IntegerField())
    return open_ones.order_by(is_later, "rank", "submitted_at", "pk")[:1]  # type: ignore[no-any-return]


def why_not_at_once(person: Person, visit: Visit) -> str:
    """Why this visit of `waiting_in_order` cannot be approved unopened; empty where it can."""
    if person.user_id in visit.involved_user_ids:
        return _("you took part: somebody else approves")
    findings: list[object] = visit.open_findings  # type: ignore[attr-defined]
    if findings:
        return _("findings are open")
    if visit.rank == 0:  # type: ignore[attr-defined]
        return _("below the trigger: open it and look")
    asked: list[VisitQuestion] = visit.asked  # type: ignore[attr-defined]
    if any(each.answered_at is None for each in asked):
        return _("a question is not answered yet")
    return ""


def give_hindrances(person: Person, visits: Iterable[Visit]) -> list[Visit]:
    """The same visits, each with `why_not_at_once` in words and whether an answer is awaited or there."""
    rows = list(visits)
    for visit in rows:
        visit.why_not_at_once = why_not_at_once(person, visit)  # type: ignore[attr-defined]
        visit.awaits_answer = any(not each.answered_at for each in visit.asked)  # type: ignore[attr-defined]
        visit.has_answer = any(each.answered_at for each in visit.asked)  # type: ignore[attr-defined]
    return rows


def any_at_once(visits: Iterable[Visit]) -> bool:
    """Whether one of these visits, with their hindrances, can be approved unopened."""
    return any(not visit.why_not_at_once for visit in visits)  # type: ignore[attr-defined]
