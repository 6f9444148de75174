"""A repeat visit is offered first to those who can go, and after a day to all the others."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from alerts.services.repeat_course import give_back_repeat, take_repeat
from alerts.tasks import watch_repeat_visits
from surveys.people.models import Minor
from tests.alerts.conftest import Watch, mails, the_incident
from tests.alerts.repeats.test_repeats import OFFERED, later
from tests.factories import person_for
from tests.people.making import membership_of
from tests.rota.making import offer_days, plan, put_on

pytestmark = pytest.mark.django_db


def offered() -> set[str]:
    return {each.to_address.split("@")[0] for each in mails(**OFFERED)}


def can(watch: Watch, *who: str) -> None:
    for each in who:
        offer_days(watch.cast.group, getattr(watch.cast, each))


def test_who_cannot_go_is_not_asked_first(watch: Watch) -> None:
    can(watch, "other_volunteer", "coordinator", "volunteer")
    day = timezone.localdate()
    vera = watch.cast.volunteer
    for number in range(4):
        put_on(plan(watch.cast.neighbour_site, day + timedelta(days=number)), vera, state="accepted")
    watch.submit_low()
    assert offered() == {"owen", "cora"}
    assert watch_repeat_visits() == 0


def test_after_a_day_the_others_are_asked_once(watch: Watch) -> None:
    can(watch, "other_volunteer")
    watch.submit_low()
    assert offered() == {"owen"}
    with time_machine.travel(timezone.now() + timedelta(hours=25), tick=True):
        assert [watch_repeat_visits(), watch_repeat_visits()] == [1, 0]
    assert offered() == {"owen", "vera", "cora", "cole"}
    assert len(mails(**OFFERED)) == 4


def test_nobody_more_is_asked_once_it_is_taken(watch: Watch) -> None:
    can(watch, "other_volunteer")
    watch.submit_low()
    take_repeat(person=person_for(watch.cast.other_volunteer), incident=the_incident())
    with time_machine.travel(later(2), tick=True):
        assert watch_repeat_visits() == 0
    assert offered() == {"owen"}


def test_given_back_it_goes_to_all_without_waiting(watch: Watch) -> None:
    can(watch, "other_volunteer")
    watch.submit_low()
    owen = person_for(watch.cast.other_volunteer)
    take_repeat(person=owen, incident=the_incident())
    give_back_repeat(person=owen, incident=the_incident())
    assert watch_repeat_visits() == 1
    assert offered() == {"owen", "vera", "cora", "cole"}


def test_a_minor_who_alone_can_is_not_asked_alone(watch: Watch) -> None:
    can(watch, "other_volunteer")
    until = timezone.localdate() + timedelta(days=300)
    own = membership_of(watch.cast.other_volunteer, watch.cast.group)
    Minor.objects.create(membership=own, until=until, guardian_name="Gwen", guardian_phone="1")
    watch.submit_low()
    assert offered() == {"owen", "vera", "cora", "cole"}
