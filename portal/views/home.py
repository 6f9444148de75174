"""Where people arrive, and the desk of a group."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.models import Incident
from alerts.queries import incidents_for_contact, live_incidents
from portal.accounts.access import Person, allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter
from portal.accounts.prepared import prepared
from portal.accounts.queries import public_groups
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide
from portal.desk.checking import first_to_check
from portal.desk.figures import Figures, figures_of
from portal.desk.rows import DESK_ROWS, parts_of
from surveys.models import Site, Visit
from surveys.people.queries import lapsing_trainings
from surveys.queries import sites_due, visits_of
from surveys.review.queue import any_at_once
from surveys.rota.queries import desk_of

LATEST_ROWS, TOLD_ROWS = 6, 25
# Time enough to write to a landowner: common practice, no source.
PERMISSION_SOON = timedelta(days=60)
# For so long the desk says what comes before a first visit: our own choice.
NEW_FOR = timedelta(days=30)


@require_safe
def home(request: PortalRequest) -> HttpResponse:
    """The front door: straight to the desk for members of one group, a choice for others."""
    person = request.person
    if not person.is_signed_in:
        return render(request, "portal/welcome.html", {"groups": public_groups()})
    if len(person.memberships) == 1:
        return redirect("group_desk", slug=person.memberships[0].group.slug)
    with wide("a contact belongs to no group; the incidents are those of their sites"):
        incidents = list(incidents_for_contact(person)[: TOLD_ROWS + 1])
    return render(request, "portal/home.html", {"incidents": incidents, "most": TOLD_ROWS})


@login_required
@require_safe
def group_desk(request: PortalRequest, slug: str) -> HttpResponse:
    """What is due and what waits, for this person in this group; at most 15 queries, however much waits."""
    group = enter(request, slug, "desk.view")
    person, today = request.person, timezone.localdate()
    figures = figures_of(person, group)
    context: dict[str, Any] = {"group": group, "figures": figures, "most": DESK_ROWS}
    context |= parts_of(person, group, figures)
    if person.is_member(group.pk):
        context |= _members_part(person, group, today, figures)
    if allowed(person, "visit.review", group):
        waiting = first_to_check(person, group, DESK_ROWS)
        context |= {"is_checker": True, "waiting": waiting, "may_tick": any_at_once(waiting)}
    if person.is_coordinator(group.pk):
        context |= _coordinators_part(group, today, context["sites"])
    return render(request, "portal/group_desk.html", context)


def _members_part(person: Person, group: Group, today: date, figures: Figures) -> dict[str, Any]:
    due = sites_due(group, today)
    rota = desk_of(person, group, today, drafts=figures.rota_drafts, has_said_when=figures.has_said_when)
    return {
        "is_member": True,
        "is_new": _is_new(person, group),
        "sites": [each.site for each in due],
        "pressing": [each for each in due if each.state in ("late", "due", "first")],
        "high": [each for each in due if each.state == "high"],
        "later": [each for each in due if each.state == "later"],
        "incidents": _live(group),
        "rota": rota,
        # Nothing in it is to be done, and a coordinator has enough to look through.
        "recent": [] if person.is_coordinator(group.pk) else _latest(group),
    }


def _is_new(person: Person, group: Group) -> bool:
    joined = (each.joined_at for each in person.memberships if each.group_id == group.pk)
    return not person.is_coordinator(group.pk) and any(timezone.now() - each < NEW_FOR for each in joined)


@prepared
def _live(group: Group) -> GroupOwnedQuerySet[Incident]:
    return live_incidents(group)[:DESK_ROWS]


@prepared
def _latest(group: Group) -> GroupOwnedQuerySet[Visit]:
    return visits_of(group)[:LATEST_ROWS]


def _coordinators_part(group: Group, today: date, sites: list[Site]) -> dict[str, Any]:
    ending = [each for each in sites if _permission_ends(each, today + PERMISSION_SOON)]
    lapsing = lapsing_trainings(group, today)
    return {
        "is_coordinator": True,
        "ending": sorted(ending, key=lambda each: each.permission_until or today),
        "today": today,
        "lapsing": lapsing,
    }


def _permission_ends(site: Site, day: date) -> bool:
    return site.closed_on is None and site.permission_until is not None and site.permission_until <= day
