"""What alerts hears from below: visits that were judged, or scored by a new version of a method."""

from __future__ import annotations

from typing import Any

from alerts.services.verdicts import judge_visit, refresh_values
from portal.accounts.access import Person


def on_visit_judged(*, event: str, person: Person | None, **told: Any) -> None:
    """Write the verdict and all that follows, in the transaction of the visit.

    After a re-scoring only the values beside old verdicts are renewed; nobody is told again.
    """
    if event == "rescored":
        refresh_values(told["group"], told["visits"])
    else:
        judge_visit(visit=told["visit"], event=event, person=person)
