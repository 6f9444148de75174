"""Calendars, read by an independent parser (vobject): events, changes, time zone, privacy, addresses."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
import vobject
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from surveys.people.models import Minor
from surveys.rota.links import CALENDAR, feed_url
from surveys.rota.models import Availability, CalendarFeed
from surveys.rota.services.answers import accept_place, decline_place
from surveys.rota.services.changes import call_off_visit, move_visit
from surveys.rota.services.feeds import renew_group_feed, renew_own_feed
from tests.conftest import Cast
from tests.factories import days_ago
from tests.rota.conftest import ahead
from tests.rota.making import plan, put_on

pytestmark = pytest.mark.django_db


def fetch(feed: CalendarFeed, **headers: str) -> Any:
    return Client().get(reverse("rota_calendar", args=[CALENDAR.make(feed.pk)]), headers=headers)


def events(feed: CalendarFeed) -> list[Any]:
    """The events as the other library reads them."""
    calendar = vobject.readOne(fetch(feed).content.decode())
    return list(getattr(calendar, "vevent_list", []))


def own(cast: Cast) -> CalendarFeed:
    return renew_own_feed(person=cast.person("volunteer"), group=cast.group)


def of_group(cast: Cast) -> CalendarFeed:
    return renew_group_feed(person=cast.person("coordinator"), group=cast.group)


def test_a_persons_calendar_holds_their_visits_in_local_time(crew: Cast) -> None:
    summer = date(timezone.localdate().year + 1, 7, 1)
    winter = date(timezone.localdate().year + 2, 1, 14)
    for day in (summer, winter):
        put_on(plan(crew.site, day), crew.volunteer)
    put_on(plan(crew.site, ahead(3)), crew.other_volunteer)
    first, second = events(own(crew))
    assert first.summary.value == "Visit to AB1 Stepping stones"
    assert first.location.value == "Stepping stones, Alder Beck"
    # Ten in the morning by the clocks of the place is nine in UTC while it is summer time there.
    assert (first.dtstart.value.hour, second.dtstart.value.hour) == (9, 10)
    for each in (first, second):
        assert each.dtstart.value.utcoffset() == timedelta(0)
        assert timezone.localtime(each.dtstart.value).hour == 10
    assert first.dtend.value - first.dtstart.value == timedelta(hours=2)
    assert first.geo.value == "54.5;-2.5"


def test_a_visit_lasts_as_long_as_its_site_says(crew: Cast) -> None:
    crew.site.visit_minutes = 210
    crew.site.save()
    put_on(plan(crew.site, ahead(3)), crew.volunteer)
    for feed in (own(crew), of_group(crew)):
        (event,) = events(feed)
        assert event.dtend.value - event.dtstart.value == timedelta(hours=3, minutes=30)


def test_an_event_keeps_its_number_while_it_changes(crew: Cast) -> None:
    planned = plan(crew.site, ahead(3))
    place = put_on(planned, crew.volunteer)
    feed = own(crew)
    (before,) = events(feed)
    accept_place(person=crew.person("volunteer"), place=place)
    (accepted,) = events(feed)
    move_visit(person=crew.person("coordinator"), planned=planned, day=ahead(4), start=planned.start)
    (moved,) = events(feed)
    assert before.uid.value == accepted.uid.value == moved.uid.value
    versions = [int(each.sequence.value) for each in (before, accepted, moved)]
    assert versions == sorted(set(versions))
    assert before.last_modified.value <= accepted.last_modified.value <= moved.last_modified.value
    assert before.last_modified.value == before.dtstamp.value
    assert [each.status.value for each in (before, accepted, moved)] == ["TENTATIVE", "CONFIRMED", "TENTATIVE"]
    assert moved.dtstart.value.date() == ahead(4)


@pytest.mark.parametrize("how", ["declined", "called off"])
def test_what_is_over_stays_as_cancelled(crew: Cast, how: str) -> None:
    planned = plan(crew.site, ahead(3))
    place = put_on(planned, crew.volunteer)
    feed = own(crew)
    version = int(events(feed)[0].sequence.value)
    if how == "declined":
        decline_place(person=crew.person("volunteer"), place=place)
    else:
        call_off_visit(person=crew.person("coordinator"), planned=planned)
    (event,) = events(feed)
    assert event.status.value == "CANCELLED"
    assert int(event.sequence.value) > version


def test_a_groups_calendar_names_only_adults_who_agreed_and_no_hazard(crew: Cast) -> None:
    crew.site.hazards, crew.site.access_notes = "A bull.", "Under the third stone lies the key."
    crew.site.save()
    planned = plan(crew.site, ahead(3), people_needed=4)
    for user in (crew.volunteer, crew.other_volunteer, crew.coordinator):
        put_on(planned, user)
    agreed = Availability.objects.of_group(crew.group).filter(user__in=[crew.volunteer, crew.other_volunteer])
    agreed.update(first_name_in_calendar=True)
    membership = crew.other_volunteer.memberships.get(group=crew.group)
    Minor.objects.create(membership=membership, until=ahead(900), guardian_name="Gwen", guardian_phone="1")
    feed = of_group(crew)
    (event,) = events(feed)
    assert event.description.value == "Going: Vera, 2 more. Places open: 1."
    assert event.status.value == "TENTATIVE"
    text = fetch(feed).content.decode()
    for secret in ("bull", "stone lies", "Owen", "Cora", "Vera Example", "@example.org"):
        assert secret not in text.replace("\r\n ", "")


def test_drafts_stand_in_no_calendar(crew: Cast) -> None:
    draft = plan(crew.site, ahead(3), state="draft", published_at=None)
    put_on(draft, crew.volunteer, state="proposed")
    assert events(own(crew)) == events(of_group(crew)) == []


def test_a_change_of_people_is_a_new_version_in_the_groups_calendar(crew: Cast) -> None:
    place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
    feed = of_group(crew)
    version = int(events(feed)[0].sequence.value)
    decline_place(person=crew.person("volunteer"), place=place)
    assert int(events(feed)[0].sequence.value) > version


def test_what_is_long_past_is_left_out(crew: Cast) -> None:
    put_on(plan(crew.site, days_ago(120)), crew.volunteer)
    assert events(own(crew)) == []


def test_a_subscriber_who_has_it_is_told_so(crew: Cast) -> None:
    place = put_on(plan(crew.site, ahead(3)), crew.volunteer)
    feed = own(crew)
    answer = fetch(feed)
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert fetch(feed, if_none_match=answer["ETag"]).status_code == 304
    accept_place(person=crew.person("volunteer"), place=place)
    assert fetch(feed, if_none_match=answer["ETag"]).status_code == 200


def test_a_new_address_kills_the_old_one(crew: Cast) -> None:
    for make in (own, of_group):
        old = make(crew)
        new = make(crew)
        assert feed_url(old) != feed_url(new)
        assert (fetch(old).status_code, fetch(new).status_code) == (410, 200)


def test_who_left_reads_nothing_of_the_group_any_more(crew: Cast) -> None:
    put_on(plan(crew.site, ahead(3)), crew.volunteer)
    feed = own(crew)
    crew.volunteer.memberships.filter(group=crew.group).update(left_at=timezone.now())
    assert events(feed) == []
    crew.volunteer.is_active = False
    crew.volunteer.save()
    assert fetch(feed).status_code == 410
