"""Further low visits of an incident are told as updates, not as a flood.

The first goes to each contact at once. After that a contact gets at most one update in four hours: what comes
in between is gathered into one message that leaves when the time is over. Nothing is dropped but what a
correction has lifted. Coordinators hear of each visit at once, because each waits for their check.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from alerts.models import AgencyContact, EventKind, Incident, IncidentEvent, Verdict
from alerts.services.messages import owe_incident_mail
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.outbox.claims import is_free
from portal.outbox.models import Message, State

# At most one update to a contact in this time (common practice, no source).
UPDATE_PAUSE = timedelta(hours=4)
KIND = f"contact.{EventKind.JOINED}"


def owe_update(incident: Incident, after: IncidentEvent, *, to: AgencyContact) -> None:
    """Owe a contact what they have not heard of further low visits; `after` is the step that gives reason to.

    An update that waits already is written anew, so that one message says it all. The caller holds the lock on
    the site.
    """
    _waiting(incident, to).update(state=State.CANCELLED)
    told = _latest_told(incident, to)
    steps = _joined_since(incident, told)
    if not steps:
        return
    latest, now = steps[-1], timezone.now()
    assert latest.visit is not None
    owe_incident_mail(
        incident,
        latest.visit,
        latest,
        to=to,
        earlier=[each.visit for each in steps[:-1] if each.visit],
        not_before=max(now, told.not_before + UPDATE_PAUSE) if told else now,
        again="" if after == latest else str(after.id),
    )


def settle_updates(incident: Incident, step: IncidentEvent, *, to: AgencyContact) -> None:
    """Before a contact hears of another step: what waits leaves with the end, or says what the step changes."""
    waiting = _waiting(incident, to)
    if step.kind == EventKind.CLOSED:
        waiting.update(not_before=timezone.now())
    elif waiting.exists() and _concerns(incident, step, to):
        owe_update(incident, step, to=to)


def _concerns(incident: Incident, step: IncidentEvent, to: AgencyContact) -> bool:
    """Whether the step is about a visit that the waiting update tells of."""
    told = _latest_told(incident, to)
    joined = incident.events.filter(kind=EventKind.JOINED, visit=step.visit_id)
    return (joined.filter(at__gt=told.created_at) if told else joined).exists()


def _latest_told(incident: Incident, to: AgencyContact) -> Message | None:
    """The last update that does not wait any more."""
    waiting = _waiting(incident, to).values("pk")
    told = _updates(incident, to).exclude(state=State.CANCELLED).exclude(pk__in=waiting)
    return told.order_by("created_at").last()


def _updates(incident: Incident, to: AgencyContact) -> GroupOwnedQuerySet[Message]:
    owed = Message.objects.of_group(incident.group)
    return owed.filter(about_id=incident.id, kind=KIND, to_address=to.email)


def _waiting(incident: Incident, to: AgencyContact) -> GroupOwnedQuerySet[Message]:
    """Kept back for the pause; one that was tried already is on its way."""
    waiting = _updates(incident, to).filter(is_free(), state=State.OWED, attempts_made=0)
    return waiting.filter(not_before__gt=timezone.now())


def _joined_since(incident: Incident, told: Message | None) -> list[IncidentEvent]:
    """The steps by which visits joined after a message that are still low, oldest first."""
    joined = incident.events.filter(kind=EventKind.JOINED, visit__in=incident.visits.all())
    low = joined.filter(visit__verdict__outcome=Verdict.Outcome.BELOW)
    since = low.filter(at__gt=told.created_at) if told else low
    return list(since.select_related("visit__site", "visit__group").order_by("at", "id"))
