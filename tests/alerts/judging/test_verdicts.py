"""Judging a visit: strictly below, not below, or not tested and why."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from alerts.judging.verdicts import REASONS, Facts, judge, reason_words, weigh
from alerts.models import Trigger, Verdict
from alerts.services.verdicts import judge_visit
from alerts.services.verdicts import test_visit_anyway as run_anyway
from portal.audit.models import AuditEntry
from surveys.models import Visit
from surveys.visits.effort import EFFORT_PROBLEMS
from tests.alerts.conftest import (
    LEVEL,
    LOW,
    LOW_SCORE,
    Watch,
    approved_visit,
    incidents,
    mails,
    set_level,
    the_incident,
    verdict_of,
)
from tests.factories import days_ago, submit

pytestmark = pytest.mark.django_db
Outcome = Verdict.Outcome


def facts(value: float | None = 20.0, *reasons: str, level: float = 30.0, **more: Any) -> Facts:
    return Facts(Trigger(index="bmwp", level=level), value, reasons, **more)


@pytest.mark.parametrize(
    ("value", "outcome"), [(29.9, Outcome.BELOW), (30.0, Outcome.NOT_BELOW), (30.1, Outcome.NOT_BELOW)]
)
def test_it_is_below_only_strictly(value: float, outcome: str) -> None:
    assert weigh(facts(value)).outcome == outcome


@pytest.mark.parametrize("reason", ["effort.kick_time", "spate", "provisional"])
def test_it_does_not_test_what_is_hard_to_compare(reason: str) -> None:
    judged = weigh(facts(20.0, reason))
    assert (judged.outcome, judged.reasons) == (Outcome.NOT_TESTED, (reason,))


@pytest.mark.parametrize("reason", ["effort.kick_time", "spate", "provisional"])
@pytest.mark.parametrize("override", ["pollution_seen", "tested_anyway"])
def test_it_tests_all_the_same_on_sight_of_pollution_or_a_coordinators_word(reason: str, override: str) -> None:
    judged = weigh(facts(20.0, reason, **{override: True}))
    assert judged.outcome == Outcome.BELOW
    assert judged.set_aside == (reason,)
    assert judged.reasons == ()


@pytest.mark.parametrize("reason", ["not_made", "past_record", "no_trigger", "no_score"])
def test_it_never_tests_what_cannot_be_compared(reason: str) -> None:
    judged = weigh(facts(None, reason, "spate", tested_anyway=True))
    assert judged.outcome == Outcome.NOT_TESTED
    assert judged.reasons == (reason, "spate")


def test_it_says_that_pollution_was_seen_where_nothing_can_be_tested() -> None:
    judged = weigh(Facts(None, None, ("no_trigger",), pollution_seen=True))
    assert judged.reasons == ("no_trigger", "pollution_seen")


def test_it_has_words_for_every_reason() -> None:
    for code in REASONS:
        assert len(reason_words([f"{code}.kick_time" if code == "effort" else code])[0]) > 20


def test_it_says_in_one_sentence_what_was_wrong_with_the_effort() -> None:
    words = reason_words(["effort.spots_missing", "effort.visit_time", "spate"])
    assert len(words) == 2
    assert str(EFFORT_PROBLEMS["spots_missing"]) in words[0]
    assert str(EFFORT_PROBLEMS["visit_time"]) in words[0]


def test_it_judges_an_ordinary_visit_as_not_below(watch: Watch) -> None:
    verdict = verdict_of(watch.submit_clean())
    assert (verdict.outcome, verdict.reasons) == (Outcome.NOT_BELOW, [])
    assert incidents() == []
    assert mails() == []


def test_it_judges_a_low_visit_as_below(watch: Watch) -> None:
    verdict = verdict_of(watch.submit_low())
    assert (verdict.outcome, verdict.value, verdict.trigger) == (Outcome.BELOW, LOW_SCORE, watch.trigger)


def test_it_does_not_test_without_a_trigger(watch: Watch) -> None:
    watch.trigger.delete()
    assert verdict_of(watch.submit_low()).reasons == ["no_trigger"]


def test_it_uses_the_trigger_of_the_visits_day(watch: Watch) -> None:
    later = set_level(watch.site, watch.cast.coordinator, 50, valid_from=days_ago(1))
    set_level(watch.site, watch.cast.coordinator, 5, valid_from=date.today() + timedelta(days=1))
    assert verdict_of(watch.submit_low(visited_on=days_ago(2).isoformat())).trigger == watch.trigger
    assert verdict_of(watch.submit_low(visited_on=days_ago(1).isoformat())).trigger == later


def test_it_uses_the_last_of_two_triggers_set_for_one_day(watch: Watch) -> None:
    corrected = set_level(watch.site, watch.cast.coordinator, 5, valid_from=watch.trigger.valid_from)
    verdict = verdict_of(watch.submit_low())
    assert (verdict.trigger, verdict.outcome) == (corrected, Outcome.NOT_BELOW)


def test_it_does_not_test_a_score_that_is_not_defined(watch: Watch) -> None:
    set_level(watch.site, watch.cast.coordinator, 5, index="aspt", despite_provisional=True)
    assert verdict_of(watch.submit_low(counts={"Baetidae": 0})).reasons == ["no_score"]


def test_it_does_not_test_off_plan_effort(watch: Watch) -> None:
    spots = [{"number": n, "kicks": 3, "seconds": "20"} for n in (1, 2, 3)]
    reasons = verdict_of(watch.submit_low(spots=spots)).reasons
    assert {each.partition(".")[0] for each in reasons} == {"effort"}
    assert incidents() == []


def test_it_does_not_test_in_a_spate(watch: Watch) -> None:
    assert verdict_of(watch.submit_low(water_level="spate")).reasons == ["spate"]


@pytest.mark.parametrize(("visits", "reasons"), [(7, ["provisional"]), (8, [])])
def test_it_needs_eight_visits_to_know_what_is_normal(watch: Watch, visits: int, reasons: list[str]) -> None:
    Visit.objects.filter(group=watch.cast.group).filter(
        pk__in=[each.pk for each in list(watch.site.visits.order_by("visited_on"))[: 8 - visits]]
    ).delete()
    assert verdict_of(watch.submit_low()).reasons == reasons


def test_it_tests_on_a_provisional_baseline_where_the_coordinator_said_so(watch: Watch) -> None:
    watch.site.visits.all().delete()
    set_level(watch.site, watch.cast.coordinator, LEVEL, valid_from=days_ago(10), despite_provisional=True)
    assert verdict_of(watch.submit_low()).outcome == Outcome.BELOW


def test_it_leaves_unapproved_visits_and_known_falls_out_of_the_baseline(watch: Watch) -> None:
    visits = list(watch.site.visits.order_by("visited_on"))
    Verdict.objects.create(
        group=watch.cast.group, visit=visits[0], outcome=Outcome.BELOW, trigger=watch.trigger, value=1
    )
    assert verdict_of(watch.submit_low()).reasons == ["provisional"]
    approved_visit(watch.site, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(5))
    assert verdict_of(watch.submit_low()).reasons == []
    Visit.objects.filter(group=watch.cast.group, pk=visits[1].pk).update(status="waiting")
    assert verdict_of(watch.submit_low()).reasons == ["provisional"]


def test_it_counts_only_visits_before_the_one_it_judges(watch: Watch) -> None:
    assert verdict_of(watch.submit_low(visited_on=days_ago(31).isoformat())).reasons == ["provisional"]


def test_it_tests_despite_a_spate_when_pollution_was_seen(watch: Watch) -> None:
    verdict = verdict_of(watch.submit_low(water_level="spate", pollution_signs="Dead fish."))
    assert verdict.outcome == Outcome.BELOW
    assert verdict.set_aside == ["spate"]
    assert the_incident().site == watch.site


def test_it_tells_the_coordinators_of_pollution_that_raises_no_alert(watch: Watch) -> None:
    watch.trigger.delete()
    verdict = verdict_of(watch.submit_low(pollution_signs="Dead fish."))
    assert verdict.reasons == ["no_trigger", "pollution_seen"]
    told = mails()
    assert [each.to_address for each in told] == ["cole@example.org", "cora@example.org"]
    assert "Dead fish." in told[0].text
    assert str(REASONS["no_trigger"]) in told[0].text


def test_it_tells_the_coordinators_of_pollution_at_a_good_score_too(watch: Watch) -> None:
    watch.submit_clean(pollution_signs="Oil film.")
    assert {each.kind for each in mails()} == {"coordinator.pollution"}
    assert "not below the trigger" in mails()[0].text


def test_it_sends_no_second_pollution_mail_with_an_alert(watch: Watch) -> None:
    watch.submit_low(pollution_signs="Oil film.")
    assert mails(kind="coordinator.pollution") == []


def test_it_keeps_past_records_silent(watch: Watch) -> None:
    from surveys.services.visits import submit_visit
    from tests.factories import submission_for

    submission = submission_for(watch.site, counts=LOW, pollution_signs="Dead fish.")
    person = watch.cast.person("coordinator")
    visit = submit_visit(person=person, submission=submission, past_record=True).visit
    assert verdict_of(visit).reasons == ["past_record"]
    assert incidents() == []
    assert mails() == []


def test_it_says_that_a_visit_not_made_was_not_tested(watch: Watch) -> None:
    changes = {"was_made": False, "not_made_reason": "too_high", "counts": [], "spots": [], "measurements": {}}
    visit = submit(watch.cast.person("volunteer"), watch.site, **changes)
    assert verdict_of(visit).reasons == ["not_made"]


def test_it_can_judge_without_writing(watch: Watch) -> None:
    visit = watch.submit_clean()
    assert judge(visit).outcome == Outcome.NOT_BELOW
    assert Verdict.objects.filter(group=watch.cast.group).count() == 1


def test_it_tests_a_visit_anyway_with_name_and_reason(watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    assert incidents() == []
    verdict = run_anyway(person=watch.cast.person("coordinator"), visit=visit, reason=" The gauge was normal. ")
    assert (verdict.outcome, verdict.set_aside) == (Outcome.BELOW, ["spate"])
    assert verdict.tested_anyway_by == watch.cast.coordinator
    assert the_incident().visits.get() == visit
    assert "The gauge was normal." in mails(kind="contact.told")[0].text
    entries = AuditEntry.objects.filter(group=watch.cast.group, object_id=verdict.pk)
    assert {each.verb for each in entries} == {"verdict.tested_anyway", "verdict.changed"}


def test_it_keeps_testing_anyway_after_a_correction(watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    run_anyway(person=watch.cast.person("coordinator"), visit=visit, reason="Gauge normal.")
    verdict = judge_visit(visit=visit, event="corrected", person=watch.cast.person("second_coordinator"))
    assert verdict.outcome == Outcome.BELOW


@pytest.mark.parametrize("reason", ["", "   "])
def test_it_does_not_test_anyway_without_a_reason(watch: Watch, reason: str) -> None:
    visit = watch.submit_low(water_level="spate")
    with pytest.raises(ValidationError):
        run_anyway(person=watch.cast.person("coordinator"), visit=visit, reason=reason)
    assert verdict_of(visit).outcome == Outcome.NOT_TESTED


def test_it_does_not_test_anyway_what_has_been_tested(watch: Watch) -> None:
    visit = watch.submit_clean()
    with pytest.raises(ValidationError):
        run_anyway(person=watch.cast.person("coordinator"), visit=visit, reason="Because.")


def test_it_does_not_test_anyway_without_a_trigger(watch: Watch) -> None:
    watch.trigger.delete()
    visit = watch.submit_low()
    with pytest.raises(ValidationError):
        run_anyway(person=watch.cast.person("coordinator"), visit=visit, reason="Because.")


def test_it_lets_nobody_test_their_own_visit_anyway(watch: Watch) -> None:
    visit = watch.submit_low("coordinator", water_level="spate")
    with pytest.raises(PermissionDenied):
        run_anyway(person=watch.cast.person("coordinator"), visit=visit, reason="Gauge normal.")
    run_anyway(person=watch.cast.person("second_coordinator"), visit=visit, reason="Gauge normal.")
