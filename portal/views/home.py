"""Where people arrive, and the desk of a group."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.queries import incidents_for_contact, live_incidents
from alerts.services.drills import overdue_drills
from portal.accounts.access import Person, allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group, Role
from portal.accounts.pages import enter
from portal.accounts.queries import members_of, public_groups
from portal.outbox.queries import late_by_minutes, undelivered_messages
from portal.queries import returned_to
from surveys.queries import own_drafts, sites_due, visits_of, visits_waiting
from surveys.questions import answers_waiting, questions_to
from surveys.returns import live_returns
from surveys.reviewing import give_hindrances, waiting_in_order
from surveys.rota.queries import desk_of

DESK_ROWS = 12
LATEST_ROWS = 6
# Time enough to write to a landowner: common practice, no source.
PERMISSION_SOON = timedelta(days=60)


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
    person, today = request.person, timezone.localdate()
    context: dict[str, Any] = {"group": group, "is_member": person.is_member(group.pk)}
    if context["is_member"]:
        context |= _members_part(person, group, today)
    if allowed(person, "visit.review", group):
        context |= _checkers_part(person, group)
    if person.is_coordinator(group.pk):
        context |= _coordinators_part(group, today)
    return render(request, "portal/group_desk.html", context)


def _members_part(person: Person, group: Group, today: date) -> dict[str, Any]:
    due = sites_due(group, today)
    return {
        "pressing": [each for each in due if each.state in ("late", "due", "first")],
        "high": [each for each in due if each.state == "high"],
        "later": [each for each in due if each.state == "later"],
        "returns": live_returns(person, group),
        "drafts": own_drafts(person).filter(group=group),
        "returned": returned_to(person, group),
        "asked": list(questions_to(person, group)),
        "recent": list(visits_of(group)[:LATEST_ROWS]),
        "incidents": list(live_incidents(group)),
        "rota": desk_of(person, group, today),
    }


def _checkers_part(person: Person, group: Group) -> dict[str, Any]:
    """What coordinators and guest reviewers check: the lowest first, then the longest waiting."""
    return {
        "is_checker": True,
        "waiting": give_hindrances(person, waiting_in_order(group)[:DESK_ROWS]),
        "waiting_count": visits_waiting(group).count(),
        "answers": list(answers_waiting(group)[:DESK_ROWS]),
    }


def _coordinators_part(group: Group, today: date) -> dict[str, Any]:
    ending = list(group.sites.filter(permission_until__lte=today + PERMISSION_SOON, closed_on=None))
    lapsed = [each for each in ending if each.permission_lapsed(today)]
    return {
        "is_coordinator": True,
        "unrehearsed": overdue_drills(group),
        "owed_minutes": late_by_minutes(),
        "undelivered": list(undelivered_messages(group)[:DESK_ROWS]),
        "lapsed": lapsed,
        "lapsing": [each for each in ending if each not in lapsed],
        "is_only_coordinator": members_of(group).filter(role=Role.COORDINATOR).count() == 1,
    }
