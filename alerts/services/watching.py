"""What the clock asks for: held alerts go out, unanswered ones go further, undeliverable ones are told on."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.utils import timezone

from alerts.models import EventKind, Incident, IncidentEvent, IncidentState
from alerts.services.clockwork import Clockwork
from alerts.services.events import add_event, save_change
from alerts.services.messages import owe_incident_mail
from alerts.services.opening import latest_visit, send_out
from alerts.services.telling import tell_coordinators, tell_next_contact, told_contacts
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide, within
from portal.outbox.models import Message


@wide("the clock runs for every group")
def watch_all() -> int:
    """Send held alerts whose time is up, escalate and remind of what is not acknowledged; return how many.

    Trouble with one incident leaves the others alone; `Trouble` tells of it at the end.
    """
    now, clock = timezone.now(), Clockwork()
    _watch(clock, _incidents().filter(state=IncidentState.HELD, send_by__lte=now), _send_held)
    _watch(clock, _incidents().filter(state=IncidentState.OPEN, acknowledge_by__lte=now), escalate)
    # Only now: whoever has been passed over by the next contact needs no reminder any more.
    _watch(clock, _incidents().filter(state=IncidentState.OPEN, remind_at__lte=now), remind)
    return clock.finish()


def _watch(clock: Clockwork, due: GroupOwnedQuerySet[Incident], act: Callable[[Incident], None]) -> None:
    def watch(number: UUID) -> bool:
        # Asked again under the lock: somebody may have acknowledged it a moment ago.
        rows = due.filter(pk=number).select_related("group", "site")
        incident = rows.select_for_update(of=("self",), no_key=True, skip_locked=True).first()
        if incident is not None:
            with within(incident.group_id):
                act(incident)
        return incident is not None

    clock.each(list(due.values_list("pk", flat=True)), watch)


def _send_held(incident: Incident) -> None:
    send_out(incident, latest_visit(incident))


def _incidents() -> GroupOwnedQuerySet[Incident]:
    return Incident.objects.across_groups("the clock runs for every group").order_by("opened_at")


def escalate(incident: Incident) -> None:
    """Tell the next contact, or ask the coordinators to telephone when there is none left."""
    visit = latest_visit(incident)
    unanswered = add_event(incident, EventKind.UNANSWERED, visit=visit, note=_names_of_told(incident))
    step = tell_next_contact(incident, visit)
    tell_coordinators(incident, visit, unanswered if step.kind == EventKind.TOLD else step)


def remind(incident: Incident) -> None:
    """Write once more to the contact who was told last."""
    save_change(incident, "incident.contact_reminded", remind_at=None)
    told = incident.events.filter(kind=EventKind.TOLD, contact__is_active=True).select_related("contact").last()
    if told is None or told.contact is None:
        return
    visit = latest_visit(incident)
    step = add_event(incident, EventKind.REMINDED, contact=told.contact, visit=visit)
    owe_incident_mail(incident, visit, step, to=told.contact)


def _names_of_told(incident: Incident) -> str:
    return ", ".join(each.name for each in told_contacts(incident))


def on_message_failed(message: Message, answer: str) -> None:
    """A mail about an incident cannot be delivered: go on to the next contact and tell the coordinators."""
    if message.about_type != Incident._meta.label_lower:
        return
    rows = _incidents().select_related("group", "site").select_for_update(of=("self",), no_key=True)
    incident = rows.get(pk__in=[message.about_id] if message.about_id else [])
    note = f"{message.to_name} <{message.to_address}>: {answer}"
    step = add_event(incident, EventKind.UNDELIVERABLE, note=note)
    # A coordinator's own mail is only noted: telling coordinators of it could go on for ever.
    if message.kind.startswith("contact."):
        _tell_on(incident, step, is_alert=message.kind == f"contact.{EventKind.TOLD}")


def _tell_on(incident: Incident, step: IncidentEvent, *, is_alert: bool) -> None:
    visit = latest_visit(incident)
    if is_alert and incident.state == IncidentState.OPEN:
        tell_next_contact(incident, visit)
    tell_coordinators(incident, visit, step)
