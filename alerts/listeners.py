"""What alerts hears from below: visits that were judged, or scored by a new version of a method."""

from __future__ import annotations

from typing import Any

from alerts.services.rescored import note_rescored
from alerts.services.verdicts import judge_imported, judge_visit
from portal.accounts.access import Person


def on_visit_judged(*, event: str, person: Person | None, **told: Any) -> None:
    """Write the verdict and all that follows, in the transaction of the visit.

    After a re-scoring old verdicts stay, and incidents note what has become of the score; nobody is told again.
    """
    if event == "rescored":
        note_rescored(group=told["group"], visits=told["visits"])
    elif event == "imported":
        judge_imported(visits=told["visits"], person=person)
    else:
        judge_visit(visit=told["visit"], event=event, person=person, taken=told.get("taken"))
