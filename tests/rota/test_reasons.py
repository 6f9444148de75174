"""The words that say why somebody is proposed, and why a place stays open."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from surveys.rota.reasons import reasons_of, why, why_open
from surveys.rota.solving import Filled, Slot
from surveys.rota.volunteers import Obstacle, Place, Volunteer
from surveys.rota.words import FITS, fit_words

SITE = Place(uuid4(), 54.5, -2.5)
DAY = date(2026, 6, 4)
EVERY_DAY = frozenset(range(7))


def somebody(**facts: Any) -> Volunteer:
    return Volunteer(uuid4(), "Vera", **{"weekdays": EVERY_DAY} | facts)


def found(*people: Volunteer, places: int = 2, days: tuple[date, ...] = (DAY,), **facts: Any) -> Filled:
    slot = Slot(uuid4(), SITE, DAY, days, places, **facts)
    return Filled(slot, DAY, tuple(each.user_id for each in people))


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"home": (54.527, -2.5)}, "Lives about 3 km away, not there before; "),
        ({"home": (54.5, -2.5)}, "Lives about 1 km away, "),
        ({"near_sites": frozenset({SITE.site_id})}, "Says that this site is near, "),
        ({}, "Has not said where they live, "),
        ({"trained_on": frozenset({DAY})}, "Has not said where they live, trained, "),
        ({"last_there": {SITE.site_id: date(2026, 3, 7)}}, "last there in March 2026; "),
        ({"is_minor": True}, "under 18, goes with an adult; "),
    ],
)
def test_a_reason_says_what_speaks_for_somebody(facts: dict[str, Any], words: str) -> None:
    assert words in why(somebody(**facts), SITE, 1)


def test_it_says_how_many_visits_they_have_that_month() -> None:
    assert why(somebody(most_a_month=3), SITE, 2).endswith("this is visit 2 of at most 3 that month.")


def test_the_count_goes_on_through_the_visits_of_a_proposal_and_begins_anew_each_month() -> None:
    vera, counts = somebody(taken={(2026, 6): 1}, most_a_month=4), Counter[tuple[object, object]]()
    told = [
        reasons_of(found(vera), [vera], counts)[0],
        reasons_of(found(vera), [vera], counts)[0],
        reasons_of(Filled(found(vera).slot, DAY + timedelta(days=30), (vera.user_id,)), [vera], counts)[0],
    ]
    assert [each.split("visit ")[-1][0] for each in told] == ["2", "3", "1"]


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"trained_on": frozenset()}, "1 is not trained"),
        ({"home": (56.0, -2.5), "travel_km": 5}, "1 lives too far away"),
        ({"weekdays": frozenset()}, "1 cannot on any of the days"),
        ({"busy": frozenset({DAY})}, "1 goes elsewhere that day"),
        ({"taken": {(2026, 6): 2}}, "1 has as many visits as they offered"),
        ({"is_minor": True}, "1 is under 18 and does not go without an adult"),
        ({}, "1 who could is needed elsewhere"),
    ],
)
def test_an_open_place_says_what_became_of_everybody(facts: dict[str, Any], words: str) -> None:
    sentence = why_open(found(places=1), [somebody(**facts)], 0)
    assert sentence.startswith("1 place is open: ")
    assert words in sentence


def test_several_are_counted_together_in_the_order_of_asking() -> None:
    others = [somebody(weekdays=frozenset()), somebody(trained_on=frozenset()), somebody(weekdays=frozenset())]
    head, *reasons = why_open(found(), others, 2).split("; ")
    assert head == "2 places are open: 1 is not trained"
    assert reasons == ["2 cannot on any of the days", "2 members have not said when they can."]


def test_of_several_days_the_reason_that_came_nearest_is_told() -> None:
    days = (DAY, DAY + timedelta(days=1))
    vera = somebody(weekdays=frozenset({DAY.weekday()}), busy=frozenset({DAY}))
    assert "goes elsewhere" in why_open(found(places=1, days=days), [vera], 0)


def test_who_goes_already_or_has_said_no_is_told_apart() -> None:
    fixed, going, no = somebody(), somebody(), somebody()
    facts: dict[str, Any] = {"fixed": frozenset({fixed.user_id}), "unwilling": frozenset({no.user_id})}
    sentence = why_open(found(going, **facts), [fixed, going, no], 0)
    assert sentence == "1 place is open: 1 has said that they cannot."


def test_with_nobody_to_ask_it_only_says_that_it_is_open() -> None:
    assert why_open(found(places=1), [], 0) == "1 place is open."


def test_there_are_words_for_every_obstacle() -> None:
    assert {str(each) for each in Obstacle} | {"", "declined", "silent"} == {str(each) for each in FITS}
    assert fit_words("") == "can"
