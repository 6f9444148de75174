"""The course of an incident, each step sealed onto the one before, with the audit row of each change."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db import transaction

from alerts.chain.facts import facts_of
from alerts.chain.sealing import NO_SEAL, STEP_VERB, plain, seal_of, sealed_form
from alerts.models import AgencyContact, EventKind, Incident, IncidentEvent
from alerts.services.locks import locked_incident
from portal.accounts.access import Person
from portal.accounts.languages import speaking_to
from portal.audit.services import record_change
from surveys.models import Visit


@transaction.atomic
def add_event(
    incident: Incident,
    kind: EventKind,
    *,
    person: Person | None = None,
    actor_name: str = "",
    contact: AgencyContact | None = None,
    visit: Visit | None = None,
    note: str | Callable[[], str] = "",
) -> IncidentEvent:
    """Write one step of the course and seal it; without a person or `actor_name` the portal itself took it.

    What somebody wrote is a note as it stands; what the portal says of the step is a function that makes the
    words, and is called in the group's language: the note is sealed, and read by everybody.
    Holds the incident's row until the transaction ends, so that two steps never take one place in the chain.
    """
    # Locked before the step is made, so that its time is later than that of the step waited for.
    locked_incident(incident)
    step = IncidentEvent(
        incident=incident,
        kind=kind,
        actor_id=person.user_id if person else None,
        actor_name=actor_name or (person.name if person else ""),
        contact=contact,
        visit=visit,
        note=_in_words(incident, note),
        facts=facts_of(incident, visit.pk if visit else None),
    )
    return _seal(step)


def _in_words(incident: Incident, note: str | Callable[[], str]) -> str:
    if not callable(note):
        return note
    with speaking_to(group=incident.group):
        return note()


def _seal(step: IncidentEvent) -> IncidentEvent:
    last = step.incident.events.exclude(sequence=None).order_by("sequence").last()
    step.sequence = (last.sequence or 0) + 1 if last else 1
    step.seal = seal_of(last.seal if last else NO_SEAL, sealed_form(step))
    step.save(force_insert=True)
    changes = {"sequence": step.sequence, "seal": step.seal}
    record_change(actor=None, verb=STEP_VERB, thing=step.incident, changes=changes)
    return step


def save_change(
    incident: Incident, verb: str, *, person: Person | None = None, actor_name: str = "", **fields: Any
) -> None:
    """Set the fields, save, and write the audit row with what each was before; equal values change nothing."""
    changes = {name: [plain(getattr(incident, name)), plain(value)] for name, value in fields.items()}
    for name, value in fields.items():
        setattr(incident, name, value)
    incident.save(update_fields=list(fields))
    differing = {name: pair for name, pair in changes.items() if pair[0] != pair[1]}
    if differing:
        record_change(actor=person, actor_name=actor_name, verb=verb, thing=incident, changes=differing)
