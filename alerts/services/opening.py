"""Opening an incident and sending its alert out."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Max
from django.utils import timezone

from alerts.models import EventKind, Incident, IncidentState, QuietPeriod, Verdict
from alerts.queries import quiet_now
from alerts.services.events import add_event, save_change
from alerts.services.repeats import ask_for_repeat
from alerts.services.telling import tell_coordinators, tell_next_contact
from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.models import Visit
from surveys.models.visits import Status


def open_incident(*, visit: Visit, verdict: Verdict, person: Person | None) -> Incident:
    """Open the site's incident, tell the first contact and the coordinators, or hold it if the group wishes so.

    The caller holds the lock on the site.
    """
    now = timezone.now()
    checked = visit.status == Status.APPROVED
    quiet = quiet_now(visit.site)
    send_by = send_time(visit, quiet, now)
    incident = Incident.objects.create(
        group=visit.group,
        site=visit.site,
        **_next_number(visit.group),
        state=IncidentState.HELD if send_by else IncidentState.OPEN,
        opened_at=now,
        send_by=send_by,
        confirmed_at=now if checked else None,
    )
    incident.visits.add(visit)
    changes = {"state": [None, incident.state], "value": [None, verdict.value]}
    record_change(actor=person, verb="incident.opened", thing=incident, changes=changes)
    add_event(incident, EventKind.OPENED, person=person, visit=visit)
    if quiet:
        step = add_event(incident, EventKind.QUIET, visit=visit, note=quiet.reason)
        tell_coordinators(incident, visit, step)
    elif send_by:
        tell_coordinators(incident, visit, add_event(incident, EventKind.HELD, visit=visit))
    else:
        send_out(incident, visit)
    ask_for_repeat(incident=incident, visit=visit)
    return incident


def send_time(visit: Visit, quiet: QuietPeriod | None, now: datetime) -> datetime | None:
    """When an alert of this visit leaves at the latest; None when nothing holds it back."""
    hours = visit.group.hold_hours if visit.status != Status.APPROVED else 0
    check = now + timedelta(hours=hours) if hours else None
    return max((each for each in (check, quiet.ends_at if quiet else None) if each), default=None)


def _next_number(group: Group) -> dict[str, int]:
    """Year and number, counted under a lock on the group so that no number is given twice."""
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    year = timezone.localdate().year
    last = Incident.objects.of_group(group).filter(year=year).aggregate(last=Max("number"))["last"]
    return {"year": year, "number": (last or 0) + 1}


def send_out(incident: Incident, visit: Visit) -> None:
    """Tell the first contact and all coordinators now, and start the time to acknowledge."""
    if incident.state == IncidentState.HELD:
        save_change(incident, "incident.sent", state=IncidentState.OPEN, send_by=None)
    step = tell_next_contact(incident, visit)
    tell_coordinators(incident, visit, step)


def latest_visit(incident: Incident) -> Visit:
    """The last low visit of the incident; where corrections have lifted all, the one that was lifted last."""
    low = incident.visits.select_related("site", "group").order_by("visited_on", "submitted_at").last()
    if low is not None:
        return low
    lifted = incident.events.filter(kind=EventKind.LIFTED).order_by("sequence").values("visit")
    visits = Visit.objects.filter(group=incident.group_id).select_related("site", "group")
    return visits.get(pk=lifted.reverse()[:1])
