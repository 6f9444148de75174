"""What the desk only counts or asks yes or no: one query for all of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from alerts.models import AlertPolicy
from alerts.queries import live_incidents
from portal.accounts.access import Person
from portal.accounts.counting import number_of
from portal.accounts.models import Group, Role
from portal.accounts.prepared import planned
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from portal.outbox.queries import late_minutes, messages_due
from surveys.queries import visits_waiting
from surveys.rota.queries import rota_figures


@dataclass(frozen=True)
class Figures:
    """Numbers of the group, and what the person has said; `owed_since` is of the whole portal.

    `drill_days` is how many days an answer to a rehearsal counts.
    """

    waiting: int
    incidents: int
    coordinators: int
    drill_days: int
    owed_since: datetime | None
    rota_drafts: int
    has_said_when: bool

    @property
    def owed_minutes(self) -> int:
        """How old the oldest owed message is, min, once that is too old; 0 while messages flow."""
        return late_minutes(self.owed_since)

    @property
    def is_only_coordinator(self) -> bool:
        return self.coordinators == 1


def figures_of(person: Person, group: Group) -> Figures:
    """The figures of the desk (one query)."""
    # All others name their group; a query of its own would be one too many.
    with wide("whether mail is late is asked of the whole portal"):
        (read,) = _figures(group, person.user_id, timezone.now())
    return Figures(**read)


@planned
def _figures(group: Group, user_id: UUID | None, now: datetime) -> QuerySet[Any, Any]:
    policy = AlertPolicy.objects.of_group(group).values("drill_days")[:1]
    expressions: dict[str, Any] = {
        "waiting": number_of(visits_waiting(group)),
        "incidents": number_of(live_incidents(group)),
        "coordinators": number_of(members_of(group).filter(role=Role.COORDINATOR)),
        "drill_days": Coalesce(Subquery(policy), AlertPolicy(group=group).drill_days),
        "owed_since": Subquery(messages_due(now).order_by("created_at").values("created_at")[:1]),
        **rota_figures(Person(user_id), group),
    }
    return Group.objects.filter(pk=group.pk).values(**expressions)
