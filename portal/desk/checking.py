"""The visits to check as the desk shows them: no scores, but the verdict and what hinders an approval."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch

from portal.accounts.access import Person
from portal.accounts.models import Group
from surveys.models import Finding, Visit, VisitQuestion
from surveys.reviewing import give_hindrances, waiting_in_order

WHY = "narrowed by the visits that fetch them"


def first_to_check(person: Person, group: Group, most: int) -> list[Visit]:
    """The lowest first, then the longest waiting; each says what speaks against approving it (four queries)."""
    findings = Finding.objects.across_groups(WHY).filter(decision="")
    asked = VisitQuestion.objects.across_groups(WHY)
    rows: Any = waiting_in_order(group).prefetch_related(None)
    hindering: tuple[Any, ...] = (
        "corrected_by",
        Prefetch("findings", findings, to_attr="open_findings"),
        Prefetch("questions", asked, to_attr="asked"),
    )
    found = rows.select_related("site", "recorder", "verdict__trigger").prefetch_related(*hindering)
    visits = give_hindrances(person, found[:most])
    for visit in visits:
        visit.shown_verdict = getattr(visit, "verdict", None)  # type: ignore[attr-defined]
    return visits
