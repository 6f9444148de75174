"""Where people arrive, and the desk of a group."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.queries import incidents_for_contact, live_incidents
from alerts.services.drills import overdue_drills
from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter
from portal.accounts.queries import public_groups
from portal.outbox.queries import late_by_minutes, undelivered_messages
from portal.queries import returned_to
from surveys.queries import own_drafts, sites_due, visits_of, visits_waiting
from surveys.returns import live_returns

DESK_ROWS = 12
LATEST_ROWS = 6


@require_safe
def home(request: PortalRequest) -> HttpResponse:
    """The front door: straight to the desk for members of one group, a choice for others."""
    person = request.person
    if not person.is_signed_in:
        return render(request, "portal/welcome.html", {"groups": public_groups()})
    if len(person.memberships) == 1:
        return redirect("group_desk", slug=person.memberships[0].group.slug)
    return render(request, "portal/home.html", {"incidents": incidents_for_contact(person)})


@login_required
@require_safe
def group_desk(request: PortalRequest, slug: str) -> HttpResponse:
    """What is due and what waits, for this person in this group."""
    group = enter(request, slug, "desk.view")
    today = timezone.localdate()
    due = sites_due(group, today)
    context = {
        "group": group,
        "pressing": [each for each in due if each.state in ("late", "due", "first")],
        "high": [each for each in due if each.state == "high"],
        "later": [each for each in due if each.state == "later"],
        "returns": live_returns(request.person, group),
        "drafts": own_drafts(request.person).filter(group=group),
        "returned": returned_to(request.person, group),
        "recent": list(visits_of(group)[:LATEST_ROWS]),
        "incidents": list(live_incidents(group)),
    }
    if allowed(request.person, "visit.review", group):
        context |= _coordinators_part(group, today)
    return render(request, "portal/group_desk.html", context)


def _coordinators_part(group: Group, today: Any) -> dict[str, object]:
    waiting = visits_waiting(group)
    return {
        "is_coordinator": True,
        "waiting": list(waiting[:DESK_ROWS]),
        "waiting_count": waiting.count(),
        "unrehearsed": overdue_drills(group),
        "owed_minutes": late_by_minutes(),
        "undelivered": list(undelivered_messages(group)[:DESK_ROWS]),
        "lapsed": group.sites.filter(permission_until__lt=today, closed_on=None),
    }
