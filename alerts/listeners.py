"""What alerts hears from below: visits that were judged, or scored by a new version of a method."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any
from uuid import UUID

from alerts.services.verdicts import judge_visit, refresh_values
from portal.accounts.access import Person
from portal.accounts.models import Group
from surveys.models import Visit


def on_visit_judged(*, visit: Visit, event: str, person: Person | None, **_signal: Any) -> None:
    """Write the verdict and all that follows, in the transaction of the visit."""
    judge_visit(visit=visit, event=event, person=person)


def on_visits_rescored(*, group: Group, visits: Collection[UUID], **_signal: Any) -> None:
    """Show the new scores beside old verdicts; nobody is told again."""
    refresh_values(group, visits)
