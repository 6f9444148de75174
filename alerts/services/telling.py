"""Who is told of a step of an incident."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from alerts.contacts.duty import Duty, add_working_time, first_on_duty
from alerts.contacts.working_time import duties_of, policy_of
from alerts.models import AgencyContact, EventKind, Incident, IncidentEvent, Verdict
from alerts.queries import quiet_now, site_contacts_of
from alerts.services.events import add_event, save_change
from alerts.services.messages import owe_incident_mail, owe_pollution_mail
from alerts.services.updates import owe_update, settle_updates
from portal.accounts.models import Group, Role, User
from portal.accounts.queries import members_of
from surveys.models import Visit


def tell_next_contact(incident: Incident, visit: Visit) -> IncidentEvent:
    """Owe the alert to the next contact and start the time to acknowledge.

    Next is the first in the site's order who is at work, else whoever is at work soonest; the time to answer
    counts in hours of that contact's work. Returns the step written: who was told, or that nobody is left (or
    was ever named) to tell.
    """
    waiting = untold_contacts(incident)
    if not waiting:
        kind = EventKind.COORDINATORS_TOLD if incident.contacts_told else EventKind.NOBODY_NAMED
        save_change(incident, "incident.contacts_exhausted", acknowledge_by=None, remind_at=None)
        return add_event(incident, kind)
    duties = duties_of(incident.group, waiting)
    place = first_on_duty(duties, timezone.now())
    step = add_event(incident, EventKind.TOLD, contact=waiting[place], visit=visit)
    told = incident.contacts_told + 1
    save_change(incident, "incident.contact_told", contacts_told=told, **_time_limits(incident, duties[place]))
    owe_incident_mail(incident, visit, step, to=waiting[place])
    return step


def _time_limits(incident: Incident, duty: Duty) -> dict[str, Any]:
    """When to remind and when to go on; a reminder that would come with the next contact is left out."""
    now, hours, remind = (
        timezone.now(),
        incident.group.acknowledge_hours,
        policy_of(incident.group).remind_hours,
    )
    return {
        "acknowledge_by": add_working_time(duty, now, hours),
        "remind_at": add_working_time(duty, now, remind) if 0 < remind < hours else None,
    }


def untold_contacts(incident: Incident) -> list[AgencyContact]:
    """The site's contacts in service who have not been told of this incident yet, in order."""
    told = {each.pk for each in told_contacts(incident)}
    return [each.contact for each in site_contacts_of(incident.site) if each.contact_id not in told]


def told_contacts(incident: Incident) -> list[AgencyContact]:
    """Everybody at agencies who has had the alert and is still in service."""
    events = incident.events.filter(kind=EventKind.TOLD, contact__is_active=True)
    return list(
        {each.contact_id: each.contact for each in events.select_related("contact") if each.contact}.values()
    )


def tell_everybody_told(incident: Incident, visit: Visit, step: IncidentEvent) -> None:
    """Owe news of a step to the contacts who had the alert and to the coordinators.

    A further low visit while the site is quiet is news for the coordinators only.
    """
    for contact in told_contacts(incident):
        _tell_contact(incident, visit, step, contact)
    tell_coordinators(incident, visit, step)


def _tell_contact(incident: Incident, visit: Visit, step: IncidentEvent, contact: AgencyContact) -> None:
    if step.kind != EventKind.JOINED:
        settle_updates(incident, step, to=contact)
        owe_incident_mail(incident, visit, step, to=contact)
    elif quiet_now(incident.site) is None:
        owe_update(incident, step, to=contact)


def tell_coordinators(incident: Incident, visit: Visit, step: IncidentEvent) -> None:
    """Owe news of a step to every coordinator of the group."""
    for user in coordinators_of(incident.group):
        owe_incident_mail(incident, visit, step, to=user)


def tell_of_pollution(visit: Visit, verdict: Verdict) -> None:
    """Signs of pollution without a low score open no incident, but a coordinator hears of them at once."""
    for user in coordinators_of(visit.group):
        owe_pollution_mail(visit, verdict, to=user)


def coordinators_of(group: Group) -> list[User]:
    """The group's present coordinators, by name."""
    return [each.user for each in members_of(group) if each.role == Role.COORDINATOR]
