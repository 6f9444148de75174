"""After a re-scoring: incidents say in their course what has become of a score; nobody is told again."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from alerts.judging.rescored import Moved, moved_score
from alerts.models import EventKind, Incident, IncidentEvent
from alerts.services.events import add_event
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group
from surveys.models import Visit
from surveys.scores.sets import among


def note_rescored(*, group: Group, visits: Collection[UUID]) -> None:
    """Note on each incident of these visits that a score has another value now than the one that was tested.

    Verdicts stay as they were, with the scores they stand on: a new version changes what a score is, not what
    the river was, and no alert is sent or taken back for it.
    """
    found = among(Visit.objects.of_group(group), "pk", visits).filter(incidents__isnull=False).distinct()
    # In the group's language throughout: the words of a score are part of what is noted.
    with speaking_to(group=group):
        for visit in found.select_related("verdict__trigger"):
            moved = moved_score(visit, visit.verdict)
            if moved:
                _note(group, visit, moved)


def _note(group: Group, visit: Visit, moved: Moved) -> None:
    for incident in Incident.objects.of_group(group).filter(visits=visit):
        # A later run for another index has no news of this one.
        if not _is_said(incident, visit, moved.since):
            add_event(incident, EventKind.NOTE, visit=visit, note=moved_words(moved))


def _is_said(incident: Incident, visit: Visit, since: datetime | None) -> bool:
    own = IncidentEvent.objects.of_group(incident.group).filter(incident=incident, visit=visit)
    notes = own.filter(kind=EventKind.NOTE, actor_name="")
    return (notes.filter(at__gte=since) if since else notes).exists()


def moved_words(moved: Moved) -> str:
    """The same as a sentence for the course of an incident."""
    told = {"method": moved.method, "was": moved.was, "now": moved.now, "why": moved.why_none}
    if not moved.now:
        return _("Scored anew: no %(method)s any more, it was %(was)s. Nobody was told again. %(why)s") % told
    return _("Scored anew: %(method)s %(now)s, it was %(was)s. Nobody was told again.") % told
