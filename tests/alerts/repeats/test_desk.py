"""Repeat visits as the desk shows them to whoever may make them."""

from __future__ import annotations

import pytest
from django.template import Context, Template

from alerts.repeats.wanted import open_repeats
from alerts.services.repeat_course import take_repeat
from tests.alerts.conftest import Watch, the_incident
from tests.alerts.repeats.test_repeats import flood

pytestmark = pytest.mark.django_db


def shown(watch: Watch, who: str) -> str:
    person = watch.cast.person(who)
    template = Template("{% load alerting %}{% desk_repeats person group %}")
    return template.render(Context({"person": person, "group": watch.cast.group}))


def test_it_shows_a_repeat_visit_to_whoever_it_was_offered_to(watch: Watch) -> None:
    watch.submit_low()
    assert "who takes it on first has it" in shown(watch, "volunteer")
    assert watch.site.name in shown(watch, "other_volunteer")


def test_it_draws_nothing_where_none_is_wanted(watch: Watch) -> None:
    assert shown(watch, "volunteer").strip() == ""


def test_it_stays_with_whoever_has_taken_it_on(watch: Watch) -> None:
    watch.submit_low()
    take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
    assert "taken on by you" in shown(watch, "volunteer")
    assert shown(watch, "other_volunteer").strip() == ""


def test_it_asks_nobody_to_go_to_a_high_river(watch: Watch) -> None:
    watch.submit_low()
    flood(watch)
    assert open_repeats(watch.cast.person("volunteer"), watch.cast.group) == []


def test_it_shows_none_of_another_group(watch: Watch) -> None:
    watch.submit_low()
    assert open_repeats(watch.cast.person("volunteer"), watch.cast.neighbour) == []
