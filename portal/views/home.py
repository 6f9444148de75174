"""Where people arrive, and the desk of a group."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.queries import contact_incidents_of, live_incidents
from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.queries import group_for, public_groups
from portal.outbox.queries import undelivered
from surveys.queries import own_drafts, recent_visits, returned_to, sites_due, visits_waiting

DESK_ROWS = 12


@require_safe
def home(request: PortalRequest) -> HttpResponse:
    """The front door: straight to the desk for members of one group, a choice for others."""
    person = request.person
    if not person.is_signed_in:
        return render(request, "portal/welcome.html", {"groups": public_groups()})
    if len(person.memberships) == 1:
        return redirect("group_desk", slug=person.memberships[0].group.slug)
    return render(request, "portal/home.html", {"incidents": contact_incidents_of(person)})


@login_required
@require_safe
def group_desk(request: PortalRequest, slug: str) -> HttpResponse:
    """What is due and what waits, for this person in this group."""
    group = group_for(request.person, slug)
    request.current_group = group
    today = timezone.localdate()
    context = {
        "group": group,
        "today": today,
        "due_sites": sites_due(group, today),
        "drafts": own_drafts(request.person).filter(group=group),
        "returned": returned_to(request.person, group),
        "recent": recent_visits(group)[:DESK_ROWS],
        "incidents": live_incidents(group),
    }
    if allowed(request.person, "visit.review", group):
        context |= _coordinators_part(group)
    return render(request, "portal/group_desk.html", context)


def _coordinators_part(group: Group) -> dict[str, object]:
    return {
        "is_coordinator": True,
        "waiting": visits_waiting(group)[:DESK_ROWS],
        "waiting_count": visits_waiting(group).count(),
        "undelivered": undelivered(group)[:DESK_ROWS],
    }
