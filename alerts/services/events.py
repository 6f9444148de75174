"""The course of an incident, step by step, with the audit row of each change."""

from __future__ import annotations

from typing import Any

from alerts.models import AgencyContact, EventKind, Incident, IncidentEvent
from portal.accounts.access import Person
from portal.audit.services import record_change
from surveys.models import Visit


def add_event(
    incident: Incident,
    kind: EventKind,
    *,
    person: Person | None = None,
    actor_name: str = "",
    contact: AgencyContact | None = None,
    visit: Visit | None = None,
    note: str = "",
) -> IncidentEvent:
    """Write one step of the course; without a person or `actor_name` the portal itself took it."""
    return IncidentEvent.objects.create(
        incident=incident,
        kind=kind,
        actor_id=person.user_id if person else None,
        actor_name=actor_name or (person.name if person else ""),
        contact=contact,
        visit=visit,
        note=note,
    )


def save_change(
    incident: Incident, verb: str, *, person: Person | None = None, actor_name: str = "", **fields: Any
) -> None:
    """Set the fields, save, and write the audit row with what each was before; equal values change nothing."""
    changes = {name: [_plain(getattr(incident, name)), _plain(value)] for name, value in fields.items()}
    for name, value in fields.items():
        setattr(incident, name, value)
    incident.save(update_fields=list(fields))
    differing = {name: pair for name, pair in changes.items() if pair[0] != pair[1]}
    if differing:
        record_change(actor=person, actor_name=actor_name, verb=verb, thing=incident, changes=differing)


def _plain(value: Any) -> Any:
    return value if isinstance(value, int | None) else str(value)
