"""Reminders: once, in time, not to those who want none, and never as a nudge to a high river."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.utils import timezone

from surveys.models import RiverReport
from surveys.people.models import Minor
from surveys.rota.models import Availability, PlannedVisit
from surveys.rota.services import reminders
from surveys.rota.services.changes import move_visit
from surveys.rota.services.reminders import remind_of_visits
from surveys.rota.tasks import remind
from tests.conftest import Cast
from tests.factories import days_ago, submit
from tests.rota.conftest import ahead, mails
from tests.rota.making import plan, put_on

pytestmark = pytest.mark.django_db
KIND = "rota.reminder"


def coming(cast: Cast, days: int = 3, **place: Any) -> PlannedVisit:
    planned = plan(cast.site, ahead(days), people_needed=1)
    put_on(planned, cast.volunteer, **{"state": "accepted"} | place)
    return planned


def test_it_reminds_once_with_the_checklist(crew: Cast) -> None:
    coming(crew)
    assert [remind_of_visits(), remind()] == [1, 0]
    (mail,) = mails(KIND)
    assert mail.to_address == "vera@example.org"
    assert "in 3 days" in mail.subject
    for words in ("Before you leave", "if in doubt, stay out", "/rota/"):
        assert words in mail.text


def test_not_before_its_time_and_late_rather_than_never(crew: Cast) -> None:
    coming(crew, days=5)
    assert remind_of_visits() == 0
    with time_machine.travel(timezone.now() + timedelta(days=5)):
        assert remind_of_visits() == 1
    assert "is today" in mails(KIND)[0].subject


def test_who_wants_none_gets_none(crew: Cast) -> None:
    coming(crew)
    Availability.objects.of_group(crew.group).update(remind_days=0)
    assert remind_of_visits() == 0


def test_each_chooses_how_long_before(crew: Cast) -> None:
    coming(crew, days=7)
    Availability.objects.of_group(crew.group).filter(user=crew.volunteer).update(remind_days=7)
    assert remind_of_visits() == 1


def test_who_was_told_within_these_days_needs_no_second_letter(crew: Cast) -> None:
    coming(crew, told_at=timezone.now())
    assert remind_of_visits() == 0
    assert mails(KIND) == []


def test_a_moved_visit_is_reminded_of_anew(crew: Cast) -> None:
    planned = coming(crew)
    remind_of_visits()
    move_visit(person=crew.person("coordinator"), planned=planned, day=ahead(20), start=planned.start)
    with time_machine.travel(timezone.now() + timedelta(days=18)):
        assert remind_of_visits() == 1


@pytest.mark.parametrize("change", ["cancelled", "draft"])
def test_only_what_is_published_is_reminded_of(crew: Cast, change: str) -> None:
    PlannedVisit.objects.across_groups("test").filter(pk=coming(crew).pk).update(state=change)
    assert remind_of_visits() == 0


def test_who_declined_or_left_is_not_reminded(crew: Cast) -> None:
    put_on(coming(crew), crew.coordinator, state="declined")
    crew.volunteer.memberships.filter(group=crew.group).update(left_at=timezone.now())
    assert remind_of_visits() == 0


def test_a_visit_that_was_made_early_is_not_reminded_of(crew: Cast) -> None:
    coming(crew)
    submit(
        crew.person("volunteer"), crew.site, visited_on=days_ago(0).isoformat(), started_at="00:01", ended_at=""
    )
    assert remind_of_visits() == 0


def test_while_the_river_is_high_it_says_stay_away(crew: Cast) -> None:
    coming(crew)
    now = timezone.now()
    RiverReport.objects.create(
        site=crew.site, too_high=True, reported_at=now, holds_until=now + timedelta(hours=9)
    )
    remind_of_visits()
    (mail,) = mails(KIND)
    assert "Stay away for now" in mail.subject
    assert "above this site's limit" in mail.text
    assert "You are down for it on" not in mail.text


def test_where_permission_has_run_out_since_it_says_stay_away(crew: Cast) -> None:
    coming(crew)
    crew.site.permission_until = days_ago(1)
    crew.site.save()
    remind_of_visits()
    (mail,) = mails(KIND)
    assert "Stay away for now" in mail.subject
    assert "permission ends on" in mail.text


def test_it_says_what_is_missing(crew: Cast) -> None:
    planned = plan(crew.site, ahead(3))
    put_on(planned, crew.volunteer)
    membership = crew.volunteer.memberships.get(group=crew.group)
    Minor.objects.create(membership=membership, until=ahead(900), guardian_name="Gwen", guardian_phone="1")
    remind_of_visits()
    text = mails(KIND)[0].text
    for words in ("A place is still open", "Nobody of 18 or over", "You have not answered yet"):
        assert words in text


def test_trouble_with_one_leaves_the_others_alone(crew: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    coming(crew, days=2)
    second = plan(crew.site, ahead(3))
    put_on(second, crew.other_volunteer)
    real = reminders._owe

    def owe(place: Any, today: Any) -> None:
        if place.user_id == crew.volunteer.pk:
            raise ValueError("a torn page")
        real(place, today)

    monkeypatch.setattr(reminders, "_owe", owe)
    with pytest.raises(RuntimeError, match="1 reminders"):
        remind_of_visits()
    assert [each.to_address for each in mails(KIND)] == ["owen@example.org"]
    monkeypatch.setattr(reminders, "_owe", real)
    assert remind_of_visits() == 1


def test_the_clock_asks_for_it() -> None:
    tasks = {each["task"] for each in settings.CELERY_BEAT_SCHEDULE.values()}
    assert remind.name in tasks
