"""Reading what the interface shows."""

from __future__ import annotations

from django.db.models import QuerySet

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import RecordingList, Visit
from surveys.recording_lists import lists_in_use


def lists_for(group: Group) -> QuerySet[RecordingList]:
    """The recording lists in use that are built in or the group's own, with their taxa."""
    return lists_in_use(group).order_by("name", "version").prefetch_related("taxa")


def visits_with_scores(group: Group) -> GroupOwnedQuerySet[Visit]:
    """The visits of a group, newest first, with their scores."""
    return Visit.objects.of_group(group).order_by("-visited_on", "id").prefetch_related("scores")


def visits_with_all(group: Group) -> GroupOwnedQuerySet[Visit]:
    """The visits of a group with all that was found."""
    return visits_with_scores(group).prefetch_related("spots__timed", "measurements", "counts", "findings")
