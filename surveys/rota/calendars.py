"""Calendars to subscribe to (iCalendar, RFC 5545): one of a person, one of a group.

No hazards stand in them, and of people only the first names of adult members who agreed: calendars travel.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.timezone import get_default_timezone
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from portal.accounts.models import Group, User
from portal.accounts.queries import person_of
from surveys.people.queries import minor_user_ids
from surveys.rota.models import LIVE, Assignment, Availability, CalendarFeed, PlannedVisit

# What lies further back is no calendar's business.
PAST = timedelta(days=90)
State = PlannedVisit.State


def calendar_of(feed: CalendarFeed) -> bytes:
    """The calendar of an address, as subscribers fetch it; equal bytes as long as nothing has changed."""
    calendar = Calendar()
    calendar.add("prodid", "-//Rifflebook//Rota//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    name = _("Rifflebook: my visits") if feed.user else str(feed.group)
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("x-wr-timezone", settings.TIME_ZONE)
    calendar.add("refresh-interval", timedelta(hours=6), parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT6H")
    for event in _own_events(feed.user) if feed.user else _group_events(_whole(feed.group)):
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _whole(group: Group | None) -> Group:
    assert group is not None, "a calendar is a person's or a group's"
    return group


def _own_events(user: User) -> Iterable[Event]:
    """Every place the person was ever told of, in the groups they belong to still."""
    rows = Assignment.objects.visible_to(person_of(user)).filter(user=user).exclude(told_at=None)
    rows = rows.filter(day__gte=timezone.localdate() - PAST)
    for place in rows.select_related("planned__site", "planned__group").order_by("day", "pk"):
        yield _own_event(place)


def _own_event(place: Assignment) -> Event:
    planned = place.planned
    sure = {Assignment.State.ACCEPTED: "CONFIRMED", Assignment.State.ASKED: "TENTATIVE"}
    is_on = planned.is_published and place.is_live
    return _event(
        planned,
        uid=place.pk,
        sequence=place.sequence + planned.sequence,
        changed=max(place.updated_at, planned.updated_at),
        status=sure[Assignment.State(place.state)] if is_on else "CANCELLED",
        words=_("Hazards, access and your answer: sign in at the address of this entry."),
    )


def _group_events(group: Group) -> Iterable[Event]:
    rows = PlannedVisit.objects.of_group(group).filter(day__gte=timezone.localdate() - PAST)
    rows = rows.exclude(published_at=None).select_related("site", "group").prefetch_related("assignments__user")
    agreed = _agreed(group)
    for planned in rows.order_by("day", "pk"):
        yield _group_event(planned, agreed)


def _agreed(group: Group) -> set[UUID]:
    """Adults who agreed that their first name stands in the group's calendar."""
    said = Availability.objects.of_group(group).filter(first_name_in_calendar=True)
    return set(said.values_list("user_id", flat=True)) - minor_user_ids(group, timezone.localdate())


def _group_event(planned: PlannedVisit, agreed: set[UUID]) -> Event:
    places = [each for each in planned.assignments.all() if each.told_at]
    down = sorted((each for each in places if each.state in LIVE), key=lambda each: each.user.name)
    names = [each.user.name.split()[0] for each in down if each.user_id in agreed]
    return _event(
        planned,
        uid=planned.pk,
        # Who goes is part of the entry, so that a change of people is a new version of it.
        sequence=planned.sequence + sum(each.sequence for each in places),
        changed=max([planned.updated_at, *(each.updated_at for each in places)]),
        status=_group_status(planned, len(down)),
        words=_people_words(names, len(down), planned.people_needed),
    )


def _group_status(planned: PlannedVisit, down: int) -> str:
    if not planned.is_published:
        return "CANCELLED"
    return "CONFIRMED" if down >= planned.people_needed else "TENTATIVE"


def _people_words(names: list[str], down: int, needed: int) -> str:
    parts = [*names]
    if down > len(names):
        parts.append(_("%(number)s more") % {"number": down - len(names)} if names else str(down))
    told = _("Going: %(people)s.") % {"people": ", ".join(parts)} if parts else ""
    missing = _("Places open: %(number)s.") % {"number": needed - down} if needed > down else ""
    return " ".join(part for part in (told, missing) if part)


def _event(
    planned: PlannedVisit, *, uid: UUID, sequence: int, changed: datetime, status: str, words: str
) -> Event:
    site, event = planned.site, Event()
    # As an instant in UTC, which each reader shows in its own zone: not all of them understand the dated rules
    # of summer time that a zone named in the calendar would bring along.
    starts = datetime.combine(planned.day, planned.start, tzinfo=get_default_timezone()).astimezone(UTC)
    event.add("uid", f"{uid}@{urlsplit(settings.BASE_URL).hostname}")
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("sequence", sequence)
    event.add("status", status)
    event.add("summary", _("Visit to %(site)s") % {"site": site})
    event.add("dtstart", starts)
    event.add("dtend", starts + planned.lasts)
    event.add("location", f"{site.name}, {site.river}")
    event.add("geo", (round(site.latitude, 5), round(site.longitude, 5)))
    event.add("description", words)
    page = reverse("planned_visit", args=[planned.group.slug, planned.pk])
    event.add("url", settings.BASE_URL + page)
    event.add("transp", "OPAQUE" if status != "CANCELLED" else "TRANSPARENT")
    return event
