"""From a verdict to an incident: open one, join one, confirm, update or withdraw it.

Everything here runs inside the transaction that submits, corrects or approves the visit.
"""

from __future__ import annotations

from django.utils import timezone

from alerts.judging.records import records_read_once
from alerts.models import LIVE_STATES, EventKind, Incident, IncidentState, Verdict
from alerts.queries import quiet_now
from alerts.services.events import add_event, save_change
from alerts.services.locks import lock_site, locked_incident
from alerts.services.opening import open_incident, send_out
from alerts.services.telling import tell_coordinators, tell_everybody_told, tell_of_pollution
from portal.accounts.access import Person
from surveys.models import Visit


def respond_to_verdict(
    *, visit: Visit, verdict: Verdict, event: str, person: Person | None, is_new: bool = False
) -> Incident | None:
    """Do what the verdict asks for; return the incident it concerns, None where there is none.

    `event` is that of the signal `visit_judged`, or "tested_anyway"; a visit that `is_new` in this transaction
    is part of no incident yet.
    """
    below = verdict.outcome == Verdict.Outcome.BELOW
    # Most visits are new and not below: they change nothing that another one could be at.
    if below or not is_new:
        _lock_site(visit)
    incident = None if is_new else _incident_of(visit)
    with records_read_once():
        # Read anew under its lock: the clock or somebody at the agency may have moved it on a moment ago.
        return _respond(visit, verdict, event, person, locked_incident(incident) if incident else None)


def _respond(
    visit: Visit, verdict: Verdict, event: str, person: Person | None, incident: Incident | None
) -> Incident | None:
    below = verdict.outcome == Verdict.Outcome.BELOW
    if incident and below:
        _go_on(incident, visit, event, person)
    elif incident:
        _lift(incident, visit, person)
    elif below:
        incident = _start(visit, verdict, person)
    if incident is None and event in ("submitted", "mended") and _shows_pollution(visit):
        tell_of_pollution(visit, verdict)
    return incident


def _lock_site(visit: Visit) -> None:
    # Two low visits at one site at the same moment: the second waits, then finds the incident of the first.
    lock_site(visit.group_id, visit.site_id)


def _incident_of(visit: Visit) -> Incident | None:
    """The incident this visit is part of; a withdrawn one is over and done with."""
    found = Incident.objects.filter(group=visit.group_id, visits=visit)
    return found.exclude(state=IncidentState.WITHDRAWN).order_by("-opened_at").first()


def _start(visit: Visit, verdict: Verdict, person: Person | None) -> Incident:
    found = _live_at_site(visit)
    live = locked_incident(found) if found else None
    # One that was closed a moment ago is nobody's business any more: who reads of another low visit there?
    if live is None or not live.is_live:
        return open_incident(visit=visit, verdict=verdict, person=person)
    live.visits.add(visit)
    joined = add_event(live, EventKind.JOINED, person=person, visit=visit)
    if live.state != IncidentState.HELD:
        tell_everybody_told(live, visit, joined)
    return live


def _live_at_site(visit: Visit) -> Incident | None:
    at_site = Incident.objects.filter(group=visit.group_id, site=visit.site_id, state__in=LIVE_STATES)
    return at_site.first()


def _go_on(incident: Incident, visit: Visit, event: str, person: Person | None) -> None:
    steps = {
        "approved": EventKind.CONFIRMED,
        "corrected": EventKind.UPDATED,
        "mended": EventKind.UPDATED,
        "returned": EventKind.RETURNED,
    }
    if event not in steps:
        return
    step = add_event(incident, steps[event], person=person, visit=visit)
    if event == "approved":
        save_change(incident, "incident.confirmed", person=person, confirmed_at=timezone.now())
        if incident.state == IncidentState.HELD:
            _release(incident, visit)
            return
    if event != "returned" and incident.state != IncidentState.HELD:
        tell_everybody_told(incident, visit, step)


def _release(incident: Incident, visit: Visit) -> None:
    """A checked alert need not be held any longer, unless the site is quiet: then until that ends."""
    quiet = quiet_now(incident.site)
    if quiet is None:
        send_out(incident, visit)
    else:
        save_change(incident, "incident.held_by_quiet", send_by=quiet.ends_at)


def _lift(incident: Incident, visit: Visit, person: Person | None) -> None:
    """The visit is no longer below: the incident goes on with its other low visits, or is withdrawn."""
    if incident.state == IncidentState.CLOSED or _other_low_visits(incident, visit):
        step = add_event(incident, EventKind.LIFTED, person=person, visit=visit)
        incident.visits.remove(visit)
        if incident.state != IncidentState.HELD:
            tell_everybody_told(incident, visit, step)
        return
    was_held = incident.state == IncidentState.HELD
    step = add_event(incident, EventKind.WITHDRAWN, person=person, visit=visit)
    save_change(
        incident,
        "incident.withdrawn",
        person=person,
        state=IncidentState.WITHDRAWN,
        acknowledge_by=None,
        remind_at=None,
        send_by=None,
    )
    if was_held:
        tell_coordinators(incident, visit, step)
    else:
        tell_everybody_told(incident, visit, step)


def _other_low_visits(incident: Incident, visit: Visit) -> bool:
    others = incident.visits.exclude(pk=visit.pk)
    return others.filter(verdict__outcome=Verdict.Outcome.BELOW).exists()


def _shows_pollution(visit: Visit) -> bool:
    return bool(visit.pollution_signs.strip()) and not visit.is_past_record
