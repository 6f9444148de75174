"""The visits to check as the desk shows them: no scores, but the verdict and what hinders an approval."""

from __future__ import annotations

from typing import Any

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Visit
from surveys.review.queue import give_hindrances, waiting_in_order
from surveys.visits.parts import laid_out, with_parts


def first_to_check(person: Person, group: Group, most: int) -> list[Visit]:
    """The lowest first, then the longest waiting; each says what speaks against approving it (one query)."""
    visits: list[Any] = laid_out(_to_check(group, most))
    for visit in visits:
        visit.open_findings = [each for each in visit.findings.all() if not each.decision]
        visit.asked = list(visit.questions.all())
        visit.shown_verdict = getattr(visit, "verdict", None)
    return give_hindrances(person, visits)


@planned
def _to_check(group: Group, most: int) -> GroupOwnedQuerySet[Visit]:
    rows: Any = waiting_in_order(group).prefetch_related(None)
    told = rows.select_related(None).select_related("site", "recorder", "verdict")
    return with_parts(told, "findings", "questions", "corrected_by")[:most]
