"""What people do with an incident: acknowledge, note, close.

A person acts by account, a contact without one by signed link.
"""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.models import AgencyContact, EventKind, Forward, GroupOutcome, Incident, IncidentState, Outcome
from alerts.services.events import add_event, save_change
from alerts.services.locks import locked_incident
from alerts.services.opening import latest_visit
from alerts.services.repeat_course import cancel_repeats
from alerts.services.telling import tell_coordinators, tell_everybody_told
from alerts.services.wording import closing_words
from portal.accounts.access import Person, require


@transaction.atomic
def acknowledge_incident(
    *,
    incident: Incident,
    person: Person | None = None,
    contact: AgencyContact | None = None,
    forward: Forward | None = None,
) -> Incident:
    """Note that the agency knows. Asked twice, the first answer stands.

    Raises ValidationError while the alert is held, because nobody outside has heard of it.
    """
    who = _actor("incident.acknowledge", incident, person, contact, forward)
    incident = locked_incident(incident)
    if incident.state == IncidentState.HELD:
        raise ValidationError(_("This alert has not been sent yet."))
    if incident.state != IncidentState.OPEN:
        return incident
    save_change(
        incident,
        "incident.acknowledged",
        **who,
        state=IncidentState.ACKNOWLEDGED,
        acknowledged_at=timezone.now(),
        acknowledged_by=who["actor_name"],
        acknowledge_by=None,
        remind_at=None,
    )
    add_event(incident, EventKind.ACKNOWLEDGED, contact=contact, **who)
    return incident


@transaction.atomic
def investigate_incident(
    *,
    incident: Incident,
    person: Person | None = None,
    contact: AgencyContact | None = None,
    forward: Forward | None = None,
    note: str = "",
) -> Incident:
    """Note that the agency is looking into it, which acknowledges it as well. Asked twice, the first stands.

    Raises ValidationError while the alert is held and when the incident is over.
    """
    who = _actor("incident.acknowledge", incident, person, contact, forward)
    incident = locked_incident(incident)
    if incident.state == IncidentState.HELD or not incident.is_live:
        raise ValidationError(_("Only an alert that was sent and is not over can be looked into."))
    if incident.state == IncidentState.INVESTIGATED:
        return incident
    now = timezone.now()
    fields: dict[str, Any] = {
        "state": IncidentState.INVESTIGATED,
        "investigated_at": now,
        "acknowledge_by": None,
        "remind_at": None,
    }
    if incident.acknowledged_at is None:
        fields |= {"acknowledged_at": now, "acknowledged_by": who["actor_name"]}
    save_change(incident, "incident.investigated", **who, **fields)
    step = add_event(incident, EventKind.INVESTIGATED, contact=contact, note=note.strip(), **who)
    tell_coordinators(incident, latest_visit(incident), step)
    return incident


@transaction.atomic
def add_note(
    *,
    incident: Incident,
    note: str,
    reference: str = "",
    person: Person | None = None,
    contact: AgencyContact | None = None,
    forward: Forward | None = None,
) -> Incident:
    """Add what is known now, and the agency's own reference. Raises ValidationError when both are empty."""
    who = _actor("incident.note", incident, person, contact, forward)
    incident = locked_incident(incident)
    note, reference = note.strip(), reference.strip()
    if not note and reference in ("", incident.agency_reference):
        raise ValidationError({"note": _("Write a note or the agency's reference.")})
    if reference:
        save_change(incident, "incident.reference", **who, agency_reference=reference)
    words = {"reference": reference}
    add_event(
        incident,
        EventKind.NOTE,
        contact=contact,
        note=note or (lambda: _("The agency's reference: %(reference)s") % words),
        **who,
    )
    return incident


@transaction.atomic
def close_incident(
    *,
    incident: Incident,
    outcome: str,
    note: str,
    reference: str = "",
    own_outcome: GroupOutcome | None = None,
    person: Person | None = None,
    contact: AgencyContact | None = None,
) -> Incident:
    """End an incident with its outcome and tell everybody who had the alert.

    The group's own words, where given, say which standard outcome they count as. Raises ValidationError for an
    outcome that is unknown or not the group's, or when the incident is over already.
    """
    who = _actor("incident.close", incident, person, contact)
    incident = locked_incident(incident)
    outcome = _checked_outcome(incident, outcome, own_outcome)
    if not incident.is_live:
        raise ValidationError(_("This incident is over already."))
    fields: dict[str, Any] = {
        "state": IncidentState.CLOSED,
        "outcome": outcome,
        "own_outcome": own_outcome,
        "outcome_note": note.strip(),
        "closed_at": timezone.now(),
        "acknowledge_by": None,
        "remind_at": None,
        "send_by": None,
    }
    if reference.strip():
        fields["agency_reference"] = reference.strip()
    save_change(incident, "incident.closed", **who, **fields)
    step = add_event(incident, EventKind.CLOSED, contact=contact, note=lambda: closing_words(incident), **who)
    cancel_repeats(incident, who.get("person"))
    tell_everybody_told(incident, latest_visit(incident), step)
    return incident


@transaction.atomic
def renew_links(*, person: Person, incident: Incident) -> Incident:
    """Make every signed link of an incident invalid, for instance after a mail went to a wrong address."""
    require(person, "contact.manage", incident)
    incident = locked_incident(incident)
    save_change(incident, "incident.links_renewed", person=person, link_version=incident.link_version + 1)
    return incident


def _checked_outcome(incident: Incident, outcome: str, own: GroupOutcome | None) -> str:
    """The standard outcome."""
    is_own = own is not None and own.is_active and own.group_id == incident.group_id
    if own is not None and not is_own:
        raise ValidationError({"outcome": _("Choose what came of it.")})
    standard = own.counts_as if own else outcome
    if standard not in Outcome.values:
        raise ValidationError({"outcome": _("Choose what came of it.")})
    return standard


def _actor(
    action: str,
    incident: Incident,
    person: Person | None,
    contact: AgencyContact | None,
    forward: Forward | None = None,
) -> dict[str, Any]:
    """Who acts, for event and audit row. A signed link has been checked where it was read."""
    if forward is not None:
        names = {"name": forward.to_name, "contact": forward.contact.name}
        return {"actor_name": _("%(name)s, by link passed on by %(contact)s") % names}
    if contact is not None:
        return {"actor_name": _("by link sent to %(name)s") % {"name": contact.name}}
    assert person is not None
    require(person, action, incident)
    return {"person": person, "actor_name": person.name}
