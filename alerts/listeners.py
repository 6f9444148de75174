"""What alerts hears from below: visits that were judged."""

from __future__ import annotations

from typing import Any

from alerts.services.verdicts import judge_visit
from portal.accounts.access import Person
from surveys.models import Visit


def on_visit_judged(*, visit: Visit, event: str, person: Person | None, **_signal: Any) -> None:
    """Write the verdict and all that follows, in the transaction of the visit."""
    judge_visit(visit=visit, event=event, person=person)
