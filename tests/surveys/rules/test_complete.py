"""Every rule can be set off, says something a volunteer can act on, and never falls over."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any
from uuid import UUID, uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring.samples import ABUNDANCE_RANGES
from surveys.measuring.quantities import QUANTITIES
from surveys.rules import RULES, Context, SiteHistory, check_submission
from surveys.submission import Entry, Problem, Reading, Spot, Submission
from tests.surveys.rules.checking import (
    KIT,
    PARTNER,
    TODAY,
    USUAL,
    at_site,
    checked,
    with_history,
    with_kit,
    with_people,
)

GONE = {"was_made": False, "spots": [], "measurements": {}, "counts": []}
EIGHT = (11.0, 12.0, 12.5, 11.5, 12.0, 13.0, 11.0, 12.5)


def spot(**fields: Any) -> dict[str, Any]:
    return {"number": 1, "kicks": "3", "seconds": "30", "depth_cm": "20"} | fields


def timed(*seconds: str, day: str = "2026-06-14") -> list[dict[str, str]]:
    return [{"started_at": f"{day}T10:00:00Z", "seconds": each} for each in seconds]


def read(**values: str) -> dict[str, Any]:
    return {"measurements": {key: {"value": value} for key, value in values.items()}}


SET_OFF: dict[str, tuple[Context, dict[str, Any]]] = {
    "date_future": (USUAL, {"visited_on": "2026-06-16"}),
    "date_too_early": (USUAL, {"visited_on": "0226-06-14"}),
    "site_not_open": (at_site(opened_on=TODAY), {}),
    "site_closed": (at_site(closed_on=date(2020, 1, 1)), {}),
    "end_before_start": (USUAL, {"started_at": "11:00", "ended_at": "10:00"}),
    "same_day": (replace(USUAL, same_day=2), {}),
    "permission_lapsed": (at_site(permission_until=date(2020, 1, 1)), {}),
    "not_a_member": (USUAL, {"recorder": str(uuid4())}),
    "same_person": (USUAL, {"recorder": str(PARTNER), "partner": str(PARTNER)}),
    "bare_recorder": (USUAL, {"recorder_name": "Old Hand"}),
    "alone": (USUAL, {"partner_name": ""}),
    "no_adult": (with_people(minors={7}), {"recorder": str(PARTNER), "partner_name": ""}),
    "untrained": (with_people(may={8: "first_aid"}), {"recorder": str(PARTNER), "partner": str(UUID(int=8))}),
    "unknown_kit": (USUAL, {"kit": str(KIT)}),
    "kit_uncleaned": (with_kit(river="Mallow Water"), {"kit": str(KIT)}),
    "spate": (USUAL, {"water_level": "spate"}),
    "bed_hidden": (USUAL, {"clarity": "opaque"}),
    "not_made_reason": (USUAL, {**GONE, "not_made_reason": ""}),
    "not_made_yet_found": (USUAL, {**GONE, "not_made_reason": "dry", "counts": {"Baetidae": 1}}),
    "effort_off_plan": (USUAL, {"spots": [spot()]}),
    "kick_length": (USUAL, {"spots": [spot(seconds="0")]}),
    "spot_twice": (USUAL, {"spots": [spot(), spot()]}),
    "timed_otherwise": (USUAL, {"spots": [spot(seconds="40", kicks="2", timed=timed("10", "10", "10"))]}),
    "timed_off_plan": (USUAL, {"spots": [spot(timed=timed("10", "4.2", "10"))]}),
    "timed_other_day": (USUAL, {"spots": [spot(timed=timed("10", day="2026-06-13"))]}),
    "timed_damaged": (USUAL, {"spots": [spot(timed="no log at all")]}),
    "depth_range": (USUAL, {"spots": [spot(depth_cm="500")]}),
    "deep": (USUAL, {"spots": [spot(depth_cm="80")]}),
    "shallow": (USUAL, {"spots": [spot(depth_cm="0.3")]}),
    "impossible_reading": (USUAL, read(ph="74")),
    "unusual_reading": (USUAL, read(ph="9.5")),
    "oxygen_unusual": (USUAL, read(oxygen="2", temperature="10")),
    "saturation_disagrees": (USUAL, read(oxygen="11", temperature="10", oxygen_saturation="70")),
    "reading_jumps": (with_history(readings={"temperature": EIGHT}), read(temperature="21")),
    "no_counts": (USUAL, {"counts": []}),
    "taxon_twice": (USUAL, {"counts": {"Baetidae": 1, "baetidae": 2}}),
    "fraction_sorted": (
        USUAL,
        {
            "counts": [
                {"taxon": "Baetidae", "count": "3"},
                {"taxon": "Perlidae", "count": "1", "whole_tray": True},
            ]
        },
    ),
    "many": (with_history(most={"Baetidae": 3}), {"counts": {"Baetidae": 31}}),
    "new_here": (with_history(approved_visits=5), {"counts": {"Baetidae": 1}}),
    "out_of_season": (
        with_history(months={"Nemouridae": (2,) * 8}, visits_by_month={6: 5}),
        {"counts": {"Nemouridae": 1}},
    ),
    "position_far": (
        at_site(latitude=54.5, longitude=-2.5),
        {"position": "54.6 N, 2.5 W", "position_accuracy_m": "10", "position_source": "phone"},
    ),
    "score_jumps": (
        with_history(score_index="bmwp", scores=(60.0, 62.0, 61.0, 58.0, 63.0, 60.0, 59.0, 61.0)),
        {"counts": {"Chironomidae": 9}},
    ),
}


def said_by(rule_id: str) -> list[Problem]:
    context, changes = SET_OFF[rule_id]
    said = checked(context, **changes)
    return [each for each in (*said.errors, *said.findings) if each.rule == rule_id]


def test_it_sets_off_every_rule_that_checks() -> None:
    assert set(SET_OFF) == {rule.id for rule in RULES if rule.check}


@pytest.mark.parametrize("rule_id", SET_OFF)
def test_it_says_where_and_what_in_a_whole_sentence(rule_id: str) -> None:
    said = said_by(rule_id)
    assert said, "the rule was not set off"
    for each in said:
        assert each.field
        assert each.message[0].isupper() or each.message[0].isdigit() or each.message.startswith("pH ")
        assert each.message[-1] in ".?)"
        # A placeholder that was never filled in, or a doubled sign, is no word for a volunteer.
        assert "%(" not in each.message
        assert "%%" not in each.message


@pytest.mark.parametrize("rule_id", SET_OFF)
def test_it_is_silent_about_an_ordinary_visit(rule_id: str) -> None:
    said = checked()
    assert rule_id not in {each.rule for each in (*said.errors, *said.findings)}


@pytest.mark.parametrize("rule_id", SET_OFF)
def test_its_words_carry_no_jargon_of_programs(rule_id: str) -> None:
    words = " ".join(each.message for each in said_by(rule_id)).casefold()
    assert not any(term in words for term in ("null", "uuid", "invalid", "none type", "field", "json"))


DECIMALS = st.decimals(min_value=-99_999, max_value=99_999, places=2)
ENTRIES = st.builds(
    lambda taxon, count, limits: Entry(taxon, "", count) if limits is None else Entry(taxon, "", None, *limits),
    st.sampled_from(["Baetidae", "Perlidae", "Chironomidae"]),
    st.integers(0, 10_000),
    st.none() | st.sampled_from(ABUNDANCE_RANGES),
)
READINGS = st.builds(
    lambda key, value, limit: Reading(key, value, QUANTITIES[key].unit, str(value), limit),
    st.sampled_from(sorted(QUANTITIES)),
    DECIMALS,
    st.booleans(),
)
SPOTS = st.builds(Spot, st.integers(1, 5), st.integers(1, 9), DECIMALS, st.just(""), st.none() | DECIMALS)
SUBMISSIONS = st.builds(
    Submission,
    id=st.uuids(),
    site=st.uuids(),
    visited_on=st.dates(),
    was_made=st.booleans(),
    not_made_reason=st.sampled_from(["", "dry"]),
    started_at=st.none() | st.times(),
    ended_at=st.none() | st.times(),
    recorder=st.none() | st.just(PARTNER),
    partner=st.none() | st.just(PARTNER),
    water_level=st.sampled_from(["", "normal", "spate"]),
    spots=st.lists(SPOTS, max_size=4).map(tuple),
    measurements=st.lists(READINGS, max_size=4, unique_by=lambda each: each.quantity).map(tuple),
    counts=st.lists(ENTRIES, max_size=4).map(tuple),
)
READ_BEFORE = st.lists(st.floats(-50, 5000, allow_nan=False), max_size=12).map(tuple)
HISTORIES = st.builds(
    SiteHistory,
    st.integers(0, 9),
    st.dictionaries(st.sampled_from(["Baetidae", "Perlidae"]), st.integers(0, 500)),
    months=st.dictionaries(st.sampled_from(["Baetidae", "Perlidae"]), st.lists(st.integers(1, 12)).map(tuple)),
    readings=st.dictionaries(st.sampled_from(sorted(QUANTITIES)), READ_BEFORE),
    visits_by_month=st.dictionaries(st.integers(1, 12), st.integers(0, 20)),
    score_index=st.sampled_from(["", "bmwp", "aspt"]),
    scores=READ_BEFORE,
)


@settings(max_examples=80, deadline=None)
@given(submission=SUBMISSIONS, history=HISTORIES, past=st.booleans())
def test_it_never_falls_over_whatever_was_found(
    submission: Submission, history: SiteHistory, past: bool
) -> None:
    said = check_submission(submission, replace(USUAL, history=history, past_record=past))
    known = {rule.id for rule in RULES}
    assert all(each.rule in known and each.message and each.field for each in (*said.errors, *said.findings))


@settings(max_examples=40, deadline=None)
@given(submission=SUBMISSIONS, history=HISTORIES)
def test_it_says_the_same_every_time(submission: Submission, history: SiteHistory) -> None:
    context = replace(USUAL, history=history)
    assert check_submission(submission, context) == check_submission(submission, context)


@pytest.mark.parametrize(
    ("scores", "words"),
    [
        ((48.0,) * 8, "at this site it was always 48 so far."),
        ((48.0, 47.9, 48.1, 48.0, 48.2, 48.0, 47.0, 49.0), "it was between 47 and 49 so far."),
        # "Far from what was between 1 and 49" is no reason, where it was as low before.
        ((48.0, 47.9, 48.1, 48.0, 48.2, 48.0, 1.0, 49.0), "it is usually about 48."),
    ],
)
def test_it_says_plainly_that_a_sites_score_never_changed(scores: tuple[float, ...], words: str) -> None:
    said = checked(with_history(score_index="bmwp", scores=scores), counts={"Chironomidae": 9})
    (message,) = [each.message for each in said.findings if each.rule == "score_jumps"]
    assert words in message
    assert message.startswith("This makes BMWP 2; ")
