"""Our calendars against RFC 5545 (iCalendar) and RFC 7986; sections and figures are from memory."""

from __future__ import annotations

import pytest

from surveys.rota.calendars import calendar_of
from surveys.rota.models import CalendarFeed
from tests.conftest import Cast
from tests.rota.conftest import ahead
from tests.rota.making import plan, put_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def content(cast: Cast) -> bytes:
    """A calendar with one visit of each status, at a site whose name is long and needs its commas escaped."""
    cast.site.name = "Stepping stones; below the weir, by the bridge, " + "ä" * 60
    cast.site.save()
    for number, state in enumerate(("asked", "accepted", "declined")):
        put_on(plan(cast.site, ahead(3 + number)), cast.volunteer, state=state)
    return calendar_of(CalendarFeed.objects.create(user=cast.volunteer))


def lines(content: bytes) -> list[str]:
    """The content lines, unfolded (RFC 5545, 3.1: a break followed by a blank is none)."""
    return content.decode().replace("\r\n ", "").split("\r\n")


def test_lines_end_in_crlf_and_hold_75_octets_at_most(content: bytes) -> None:
    # RFC 5545, 3.1.
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in content.split(b"\r\n")) <= 75


def test_the_calendar_names_its_maker_and_version(content: bytes) -> None:
    # RFC 5545, 3.6: PRODID and VERSION are required, once each; 3.7.4: the version is 2.0.
    assert [each for each in lines(content) if each.startswith("VERSION:")] == ["VERSION:2.0"]
    assert len([each for each in lines(content) if each.startswith("PRODID:")]) == 1


@pytest.mark.parametrize("name", ["UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "LAST-MODIFIED", "STATUS"])
def test_each_event_has_each_property_once(content: bytes, name: str) -> None:
    # RFC 5545, 3.6.1: UID and DTSTAMP are required; none of these may stand twice.
    found = [each for each in lines(content) if each.partition(":")[0].partition(";")[0] == name]
    assert len(found) == lines(content).count("BEGIN:VEVENT") == 3


def test_statuses_are_those_of_events(content: bytes) -> None:
    # RFC 5545, 3.8.1.11.
    found = {each.partition(":")[2] for each in lines(content) if each.startswith("STATUS:")}
    assert found == {"TENTATIVE", "CONFIRMED", "CANCELLED"}


def test_instants_are_written_in_utc(content: bytes) -> None:
    # RFC 5545, 3.3.5, form 2: a time in UTC ends in Z and names no zone.
    found = [each for each in lines(content) if each.startswith(("DTSTART", "DTEND", "DTSTAMP", "LAST-MOD"))]
    assert len(found) == 12
    assert all(each.endswith("Z") and "TZID" not in each for each in found)


def test_commas_and_semicolons_of_a_text_are_escaped(content: bytes) -> None:
    # RFC 5545, 3.3.11.
    (summary, *_others) = [each for each in lines(content) if each.startswith("SUMMARY:")]
    assert "Stepping stones\\; below the weir\\, by the bridge\\, ä" in summary


def test_it_says_how_often_to_come_back(content: bytes) -> None:
    # RFC 7986, 5.7: REFRESH-INTERVAL is a duration and says so.
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT6H" in lines(content)
