"""The limits in time: to the second, over a change of clocks, and for every length a group may choose."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from alerts.models import IncidentState
from alerts.services.incidents import acknowledge_incident
from alerts.tasks import watch_incidents
from portal.accounts.models import Group
from tests.alerts.conftest import (
    LOW,
    Watch,
    add_baseline,
    course,
    kinds_to,
    mails,
    name_contact,
    set_level,
    the_incident,
)
from tests.conftest import Cast
from tests.factories import SiteFactory, submit

pytestmark = pytest.mark.django_db
INES, BO = "ines@rivers.example", "bo@rivers.example"
SECOND = timedelta(seconds=1)


def choose(watch: Watch, **hours: int) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(**hours)
    watch.site.group.refresh_from_db()


@pytest.mark.parametrize("hours", [1, 4, 48])
def test_the_next_contact_is_told_at_the_hour_and_not_a_second_before(watch: Watch, hours: int) -> None:
    choose(watch, acknowledge_hours=hours)
    watch.submit_low()
    limit = the_incident().acknowledge_by
    assert limit is not None
    with time_machine.travel(limit - SECOND, tick=False):
        watch_incidents()
    assert kinds_to(BO) == []
    with time_machine.travel(limit, tick=False):
        assert watch_incidents() == 1
        assert the_incident().acknowledge_by == limit + timedelta(hours=hours), "the next has the whole time"
    assert kinds_to(BO) == ["contact.told"]


@pytest.mark.parametrize("hours", [1, 6, 72])
def test_a_held_alert_leaves_at_the_hour_and_not_a_second_before(watch: Watch, hours: int) -> None:
    choose(watch, hold_hours=hours)
    watch.submit_low()
    limit = the_incident().send_by
    assert limit is not None
    with time_machine.travel(limit - SECOND, tick=False):
        assert watch_incidents() == 0
    assert kinds_to(INES) == []
    with time_machine.travel(limit, tick=False):
        assert watch_incidents() == 1
    assert kinds_to(INES) == ["contact.told"]
    assert course(the_incident()) == ["opened", "held", "told"]


def test_an_answer_in_the_last_second_counts(watch: Watch) -> None:
    watch.submit_low()
    limit = the_incident().acknowledge_by
    assert limit is not None
    with time_machine.travel(limit - SECOND, tick=False):
        acknowledge_incident(incident=the_incident(), contact=watch.first)
    with time_machine.travel(limit + timedelta(days=1), tick=False):
        assert watch_incidents() == 0
    assert kinds_to(BO) == []


def test_a_late_watch_tells_one_contact_at_a_time(watch: Watch) -> None:
    """After a night without a worker nobody is passed over: the second still gets the whole time."""
    watch.submit_low()
    limit = the_incident().acknowledge_by
    assert limit is not None
    late = limit + timedelta(hours=40)
    with time_machine.travel(late, tick=False):
        assert [watch_incidents(), watch_incidents()] == [1, 0]
        assert the_incident().acknowledge_by == late + timedelta(hours=4)


def test_no_hours_to_acknowledge_tells_everybody_in_two_looks(watch: Watch) -> None:
    choose(watch, acknowledge_hours=0)
    watch.submit_low()
    assert [watch_incidents() for _ in range(3)] == [1, 1, 0]
    assert course(the_incident())[-1] == "coordinators_told"
    assert kinds_to(BO) == ["contact.told"]


@pytest.mark.parametrize(
    "evening",
    [
        pytest.param(datetime(2026, 3, 28, 23, 30, tzinfo=UTC), id="clocks go forward"),
        pytest.param(datetime(2026, 10, 24, 22, 30, tzinfo=UTC), id="clocks go back"),
        pytest.param(datetime(2026, 12, 31, 23, 59, tzinfo=UTC), id="new year"),
        pytest.param(datetime(2028, 2, 28, 23, 0, tzinfo=UTC), id="leap day"),
    ],
)
def test_hours_are_hours_when_the_clocks_change(cast: Cast, evening: datetime) -> None:
    """Counted as time that passes, not as what the clock on the wall shows."""
    with time_machine.travel(evening, tick=False):
        site = SiteFactory(group=cast.group, code="AB8")
        add_baseline(site, cast.coordinator, cast.other_volunteer)
        set_level(site, cast.coordinator)
        name_contact(site, 1, "Ines Halloran", INES)
        submit(cast.person("volunteer"), site, counts=LOW)
        assert the_incident().acknowledge_by == evening + timedelta(hours=4)
    with time_machine.travel(evening + timedelta(hours=4), tick=False):
        assert watch_incidents() == 1


def test_the_number_is_of_the_year_in_which_the_group_lives(cast: Cast) -> None:
    """Half an hour after midnight in summer time it is still the day before in UTC."""
    with time_machine.travel(datetime(2026, 12, 31, 23, 59, 59, tzinfo=UTC), tick=False):
        old = _open_at(cast, "AB6")
    with time_machine.travel(datetime(2027, 1, 1, 0, 0, 0, tzinfo=UTC), tick=False):
        new = _open_at(cast, "AB7")
    assert (old, new) == ("2026-001", "2027-001")


def _open_at(cast: Cast, code: str) -> str:
    site = SiteFactory(group=cast.group, code=code)
    add_baseline(site, cast.coordinator, cast.other_volunteer)
    set_level(site, cast.coordinator)
    submit(cast.person("volunteer"), site, counts=LOW)
    incident = site.incidents.get()
    assert incident.state == IncidentState.OPEN
    return str(incident.reference)


def test_every_contact_is_told_in_order_and_the_coordinators_at_each_step(watch: Watch) -> None:
    third = name_contact(watch.site, 3, "Cy Marsh", "cy@rivers.example")
    watch.submit_low()
    for _ in range(3):
        limit = the_incident().acknowledge_by
        assert limit is not None
        with time_machine.travel(limit, tick=False):
            watch_incidents()
    assert the_incident().acknowledge_by is None
    told = [each.to_address for each in mails(kind="contact.told")]
    assert told == [INES, BO, third.email]
    assert kinds_to("cora@example.org") == [
        "coordinator.told",
        "coordinator.unanswered",
        "coordinator.unanswered",
        "coordinator.coordinators_told",
    ]
    asked = mails(kind="coordinator.unanswered")
    assert "Ines Halloran." in asked[0].text
    assert "Ines Halloran, Bo Lindqvist." in asked[-1].text
