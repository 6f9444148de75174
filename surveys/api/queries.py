"""Reading what the interface shows."""

from __future__ import annotations

from typing import Any

from django.db.models import OuterRef, QuerySet
from django.db.models.functions import JSONObject

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.lists.recording import lists_in_use
from surveys.models import RecordingList, Visit, VisitScore
from surveys.visits.parts import all_of

OF_SCORE = ("index", "version", "value", "low", "high", "why_none", "left_out", "scored_at")


def lists_for(group: Group) -> QuerySet[RecordingList]:
    """The recording lists in use that are built in or the group's own, with their taxa."""
    return lists_in_use(group).order_by("name", "version").prefetch_related("taxa")


def visits_with_scores(group: Group) -> GroupOwnedQuerySet[Visit]:
    """The visits of a group, newest first, with their scores."""
    return Visit.objects.of_group(group).order_by("-visited_on", "id").prefetch_related("scores")


def visits_with_told_scores(group: Group) -> GroupOwnedQuerySet[Visit]:
    """The same with the scores in force as JSON in `told_scores`: of fifty visits they are eight hundred."""
    current = VisitScore.objects.across_groups("narrowed by the visits that fetch them").filter(
        visit=OuterRef("pk"), is_current=True
    )
    packed = current.order_by("index").values(json=JSONObject(**{name: name for name in OF_SCORE}))
    rows: Any = Visit.objects.of_group(group).annotate(told_scores=all_of(packed))
    return rows  # type: ignore[no-any-return]


def visits_with_all(group: Group) -> GroupOwnedQuerySet[Visit]:
    """The visits of a group with all that was found."""
    return visits_with_scores(group).prefetch_related("spots__timed", "measurements", "counts", "findings")
