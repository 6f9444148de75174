"""Reading what is exported."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Max, Q

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Site, SpotEffort, Visit
from surveys.models.codes import by_code
from surveys.queries import current_scores

# Rows and all that hangs on them are fetched by so many: the memory needed does not grow with the export.
CHUNK = 500


def chosen_visits(group: Group, chosen: Q) -> GroupOwnedQuerySet[Visit]:
    """The group's visits that fit, oldest first, each with all that its row says."""
    found = Visit.objects.of_group(group).filter(chosen)
    found = found.select_related("site", "recorder", "partner", "recording_list", "kit", "reviewed_by")
    found = found.prefetch_related(current_scores(), "spots", "measurements", "counts")
    return found.order_by("visited_on", "submitted_at", "id")


def in_chunks(visits: GroupOwnedQuerySet[Visit]) -> Iterator[Visit]:
    """One visit after the other, without holding all of them."""
    return visits.iterator(chunk_size=CHUNK)


def most_spots(group: Group) -> int:
    """The highest number of a spot that any visit of the group has."""
    found: int | None = SpotEffort.objects.filter(visit__group=group).aggregate(Max("number"))["number__max"]
    return found or 0


def chosen_sites(group: Group) -> GroupOwnedQuerySet[Site]:
    """The group's sites by code."""
    return Site.objects.of_group(group).select_related("recording_list", "downstream").order_by(*by_code())
