"""Setting triggers."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.utils import timezone

from alerts.models import Trigger
from alerts.queries import trigger_in_force
from alerts.services.triggers import MAY_BE_NEGATIVE, TRIGGER_INDICES, set_trigger
from portal.audit.models import AuditEntry
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


def test_it_may_lie_below_nought_where_the_index_may(watch: Watch) -> None:
    assert put(watch, index="bankside", level=-2.5).level == -2.5
    assert set(TRIGGER_INDICES) >= MAY_BE_NEGATIVE


def test_it_keeps_the_advice_that_it_was_set_by(watch: Watch) -> None:
    put(watch, advice={"level": {"level": 35.0}})
    kept = trigger_in_force(watch.site, today())
    assert kept is not None
    assert kept.advice == {"level": {"level": 35.0}}
    assert watch.trigger.advice == {}
