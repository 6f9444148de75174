"""Setting triggers, and what a level would mean."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.advice import advise, chance_below, percent, propose_level
from alerts.models import Trigger
from alerts.queries import trigger_in_force
from alerts.services.triggers import TRIGGER_INDICES, set_trigger
from portal.audit.models import AuditEntry
from scoring.baseline import chance_of_false_alarm, describe
from surveys.models import VisitScore
from tests.alerts.conftest import Watch, verdict_of
from tests.factories import days_ago

pytestmark = pytest.mark.django_db


def today() -> date:
    return timezone.localdate()


def put(watch: Watch, by: str = "coordinator", **changes: Any) -> Trigger:
    fields: dict[str, Any] = {"index": "bmwp", "level": 35.0, "valid_from": today(), "reason": "Agreed in May."}
    return set_trigger(person=watch.cast.person(by), site=watch.site, **(fields | changes))


def test_it_keeps_the_old_trigger_beside_the_new_one(watch: Watch) -> None:
    new = put(watch)
    assert trigger_in_force(watch.site, today()) == new
    assert trigger_in_force(watch.site, days_ago(1)) == watch.trigger
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="trigger.set")
    assert (entry.reason, entry.changes["level"]) == ("Agreed in May.", [None, 35.0])


def test_it_takes_effect_on_its_day(watch: Watch) -> None:
    put(watch, level=5.0, valid_from=today() + timedelta(days=1))
    assert trigger_in_force(watch.site, today()) == watch.trigger


def test_it_is_never_back_dated(watch: Watch) -> None:
    with pytest.raises(ValidationError) as refusal:
        put(watch, valid_from=days_ago(1))
    assert "valid_from" in refusal.value.message_dict


def test_it_may_lie_in_the_past_when_it_is_the_first(watch: Watch) -> None:
    watch.trigger.delete()
    assert put(watch, valid_from=days_ago(300)).valid_from == days_ago(300)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("index", "fbi"),
        ("index", "nonsense"),
        ("level", 0.0),
        ("level", -3.0),
        ("level", float("nan")),
        ("level", float("inf")),
        ("reason", "  "),
    ],
)
def test_it_refuses_a_trigger_that_makes_no_sense(watch: Watch, field: str, value: Any) -> None:
    with pytest.raises(ValidationError) as refusal:
        put(watch, **{field: value})
    assert field in refusal.value.message_dict
    assert Trigger.objects.filter(group=watch.cast.group).count() == 1


def test_it_offers_no_index_that_rises_with_pollution() -> None:
    assert "fbi" not in TRIGGER_INDICES
    assert {"bmwp", "aspt", "ntaxa", "ept_families"} <= set(TRIGGER_INDICES)


def test_it_is_set_by_coordinators_only(watch: Watch) -> None:
    with pytest.raises(PermissionDenied):
        put(watch, by="volunteer")
    with pytest.raises(Http404):
        put(watch, by="neighbour_coordinator")


def test_it_is_not_lowered_by_somebody_whose_own_alert_is_open(watch: Watch) -> None:
    watch.submit_low("coordinator")
    with pytest.raises(ValidationError, match="another coordinator"):
        put(watch, level=5.0)
    with pytest.raises(ValidationError, match="another coordinator"):
        put(watch, index="aspt", level=1.0)
    put(watch, level=40.0)
    put(watch, by="second_coordinator", level=5.0)


def test_it_leaves_old_verdicts_as_they_were(watch: Watch) -> None:
    visit = watch.submit_low()
    put(watch, by="second_coordinator", level=1.0)
    assert verdict_of(visit).trigger == watch.trigger


def spread_scores(watch: Watch) -> None:
    """Give the eight baseline visits the scores 40 to 54, two apart."""
    for number, visit in enumerate(watch.site.visits.order_by("visited_on")):
        VisitScore.objects.filter(visit=visit).across_groups("test").update(value=40 + 2 * number)


def test_it_proposes_the_level_that_one_visit_in_twenty_falls_below(watch: Watch) -> None:
    """k for n = 8 is 2.010 (normal one-sided 95 % prediction limit); mean 47, sd 4.899."""
    spread_scores(watch)
    advice = advise(watch.site, "bmwp")
    assert advice.proposed == pytest.approx(47 - 2.010 * 4.89898, abs=0.01)
    assert advice.chance_per_visit == pytest.approx(0.05, abs=1e-6)


def test_it_shows_the_chance_of_a_false_alarm_in_a_year(watch: Watch) -> None:
    """5 % a visit at monthly visits gives 46.0 % a year."""
    spread_scores(watch)
    advice = advise(watch.site, "bmwp")
    assert advice.visits_per_year == 12
    assert advice.chance_per_year == pytest.approx(chance_of_false_alarm(0.05, 12), abs=1e-6)
    assert (advice.percent_per_visit, advice.percent_per_year) == ("5", "46")
    assert advice.percent_lowest == "11"


def test_it_works_out_any_level(watch: Watch) -> None:
    spread_scores(watch)
    low, mean, high = (advise(watch.site, "bmwp", level) for level in (20.0, 47.0, 60.0))
    assert low.chance_per_visit is not None
    assert low.chance_per_visit < 0.01
    assert low.fall == 27.0
    assert mean.chance_per_visit == pytest.approx(0.5)
    assert high.chance_per_visit is not None
    assert high.chance_per_visit > 0.95
    assert high.fall is None


def test_it_says_nothing_of_chances_without_spread(watch: Watch) -> None:
    advice = advise(watch.site, "bmwp")
    assert advice.baseline is not None
    assert (advice.proposed, advice.chance_per_visit) == (None, None)
    assert advice.percent_usual_year == "46"
    assert advise(watch.site, "aspt").baseline is None


def test_it_never_proposes_a_level_below_nothing() -> None:
    assert propose_level(describe([1.0, 30.0, 60.0])) is None
    assert propose_level(describe([5.0])) is None
    assert chance_below(3.0, None) is None


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (None, ""),
        (0.0001, "under 0.1"),
        (0.0123, "1.2"),
        (0.05, "5"),
        (0.0996, "10"),
        (0.4596, "46"),
        (1.0, "100"),
    ],
)
def test_it_writes_chances_for_people(chance: float | None, words: str) -> None:
    assert percent(chance) == words
