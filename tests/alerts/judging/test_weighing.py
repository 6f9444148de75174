"""Properties of the verdict, for any facts at all: never below by a hair too much, never silently clean."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from alerts.judging.verdicts import EXCUSABLE, REASONS, Facts, are_excusable, kind_of, reason_words, weigh
from alerts.models import Trigger, Verdict
from surveys.visits.effort import EFFORT_PROBLEMS
from tests.chance import tries

Outcome = Verdict.Outcome
quick = settings(max_examples=tries(300), deadline=None, derandomize=True)

effort = st.sampled_from(sorted(EFFORT_PROBLEMS)).map("effort.{}".format)
excuses = st.one_of(effort, st.sampled_from(["spate", "provisional"]))
bars = st.sampled_from(["not_made", "past_record", "no_trigger", "no_score"])
levels = st.floats(0.01, 10_000, allow_nan=False)
scores = st.floats(-10, 10_000, allow_nan=False)
flags = st.booleans()


def trigger(level: float) -> Trigger:
    return Trigger(index="bmwp", level=level)


@st.composite
def any_facts(draw: Any) -> Facts:
    """Facts as they can come together: a bar where something is missing, and any excuses beside it."""
    barred = draw(st.lists(bars, max_size=2, unique=True))
    reasons = tuple(barred + draw(st.lists(excuses, max_size=4, unique=True)))
    has_trigger = not barred or "no_score" in barred
    value = None if barred else draw(scores)
    return Facts(trigger(draw(levels)) if has_trigger else None, value, reasons, draw(flags), draw(flags))


@quick
@given(any_facts())
def test_it_is_below_only_when_the_score_is_strictly_below(facts: Facts) -> None:
    judged = weigh(facts)
    if judged.outcome == Outcome.BELOW:
        assert judged.value is not None
        assert judged.trigger is not None
        assert judged.value < judged.trigger.level


@quick
@given(any_facts())
def test_it_never_calls_a_lower_score_clean(facts: Facts) -> None:
    judged = weigh(facts)
    if judged.outcome == Outcome.NOT_BELOW:
        assert judged.value is not None
        assert judged.trigger is not None
        assert judged.value >= judged.trigger.level


@quick
@given(any_facts())
def test_it_is_never_silent_about_what_was_not_tested(facts: Facts) -> None:
    judged = weigh(facts)
    assert (judged.outcome == Outcome.NOT_TESTED) == bool(judged.reasons)
    assert all(len(words) > 20 for words in reason_words(judged.reasons))


@quick
@given(any_facts())
def test_it_loses_no_reason(facts: Facts) -> None:
    """Each reason is either given or said to be set aside; nothing is added but that pollution was seen."""
    judged = weigh(facts)
    kept = (*judged.reasons, *judged.set_aside)
    assert set(kept) - {"pollution_seen"} == set(facts.reasons)
    assert ("pollution_seen" in kept) <= facts.pollution_seen
    assert not (judged.reasons and judged.set_aside)


@quick
@given(any_facts())
def test_it_tests_nothing_that_has_no_score_or_no_trigger(facts: Facts) -> None:
    if any(kind_of(each) not in EXCUSABLE for each in facts.reasons):
        assert weigh(facts).outcome == Outcome.NOT_TESTED


@quick
@given(any_facts())
def test_only_pollution_or_a_coordinators_word_sets_a_reason_aside(facts: Facts) -> None:
    judged = weigh(facts)
    if judged.set_aside:
        assert facts.pollution_seen or facts.tested_anyway
        assert are_excusable(judged.set_aside)


@quick
@given(levels, st.floats(1e-6, 1_000))
@example(level=30.0, step=0.01)
@example(level=0.01, step=0.001)
def test_the_trigger_itself_is_not_below_and_the_next_lower_score_is(level: float, step: float) -> None:
    assume(level - step < level < level + step)
    assert weigh(Facts(trigger(level), level, ())).outcome == Outcome.NOT_BELOW
    assert weigh(Facts(trigger(level), level - step, ())).outcome == Outcome.BELOW
    assert weigh(Facts(trigger(level), level + step, ())).outcome == Outcome.NOT_BELOW


@quick
@given(any_facts(), scores)
def test_a_lower_score_never_has_the_better_verdict(facts: Facts, lower: float) -> None:
    assume(facts.value is not None and lower < facts.value)
    first = weigh(facts).outcome
    second = weigh(
        Facts(facts.trigger, lower, facts.reasons, facts.pollution_seen, facts.tested_anyway)
    ).outcome
    assert (first, second) != (Outcome.BELOW, Outcome.NOT_BELOW)
    assert (first == Outcome.NOT_TESTED) == (second == Outcome.NOT_TESTED)


@pytest.mark.parametrize("code", sorted(REASONS))
def test_every_reason_is_either_an_excuse_or_a_bar(code: str) -> None:
    assert are_excusable([code]) == (code in EXCUSABLE)
