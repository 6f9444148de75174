"""Who is told of a step of an incident."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from alerts.models import AgencyContact, EventKind, Incident, IncidentEvent, Verdict
from alerts.queries import site_contacts_of
from alerts.services.events import add_event, save_change
from alerts.services.messages import owe_incident_mail, owe_pollution_mail
from portal.accounts.models import Group, Role, User
from portal.accounts.queries import members_of
from surveys.models import Visit


def tell_next_contact(incident: Incident, visit: Visit) -> IncidentEvent:
    """Owe the alert to the next contact in the site's order and start the time to acknowledge.

    Returns the step written: who was told, or that nobody is left (or was ever named) to tell.
    """
    contact = next(iter(untold_contacts(incident)), None)
    if contact is None:
        kind = EventKind.COORDINATORS_TOLD if incident.contacts_told else EventKind.NOBODY_NAMED
        save_change(incident, "incident.contacts_exhausted", acknowledge_by=None)
        return add_event(incident, kind)
    until = timezone.now() + timedelta(hours=incident.group.acknowledge_hours)
    step = add_event(incident, EventKind.TOLD, contact=contact, visit=visit)
    told = incident.contacts_told + 1
    save_change(incident, "incident.contact_told", acknowledge_by=until, contacts_told=told)
    owe_incident_mail(incident, visit, step, to=contact)
    return step


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
    """Owe news of a step to the contacts who had the alert and to the coordinators."""
    for contact in told_contacts(incident):
        owe_incident_mail(incident, visit, step, to=contact)
    tell_coordinators(incident, visit, step)


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
