"""Makes availabilities and planned visits for tests."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from portal.accounts.models import Group, User
from surveys.models import Site
from surveys.rota.due import window_of
from surveys.rota.models import Assignment, Availability, PlannedVisit
from surveys.rota.queries import DeskRota, desk_of, rota_figures
from tests.conftest import Cast

EVERY_DAY = list(range(7))


def offer_days(group: Group, user: User, **facts: Any) -> Availability:
    """Somebody who can on every day of the week unless told otherwise."""
    return Availability.objects.create(group=group, user=user, **{"weekdays": EVERY_DAY} | facts)


def plan(site: Site, day: date, **facts: Any) -> PlannedVisit:
    """A published visit to a site."""
    window = window_of(site)
    usual = {
        "group": site.group,
        "site": site,
        "state": "published",
        "day": day,
        "due_on": day,
        "window_from": day - window,
        "window_until": day + window,
        "people_needed": site.people_needed,
        "published_at": timezone.now(),
    }
    return PlannedVisit.objects.create(**usual | facts)


def put_on(planned: PlannedVisit, user: User, *, state: str = "asked", **facts: Any) -> Assignment:
    """Somebody down for it, told some days ago."""
    told = None if state == "proposed" else timezone.now() - timedelta(days=20)
    usual = {"planned": planned, "user": user, "day": planned.day, "state": state, "told_at": told}
    return Assignment.objects.create(**usual | facts)


def the_desk(cast: Cast, who: str) -> DeskRota:
    """What the rota puts on somebody's desk today, with its figures read as the desk reads them."""
    person = cast.person(who)
    figures: Any = Group.objects.filter(pk=cast.group.pk).values(**rota_figures(person, cast.group)).get()
    said = {"drafts": figures["rota_drafts"], "has_said_when": figures["has_said_when"]}
    return desk_of(person, cast.group, timezone.localdate(), **said)
