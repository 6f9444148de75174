"""The rules on dates, people and effort, each at its limits; and the table of rules itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from surveys.rules import RULES, Severity, rule_named
from tests.surveys.rules.checking import PARTNER, USUAL, at_site, checked, errors, findings, rules_of

NOT_MADE: dict[str, Any] = {
    "was_made": False,
    "not_made_reason": "too_high",
    "spots": [],
    "measurements": {},
    "counts": [],
}


def test_it_has_nothing_to_say_of_an_ordinary_visit() -> None:
    assert checked().errors == ()
    assert checked().findings == ()


def test_it_explains_every_rule_with_its_source() -> None:
    assert len({rule.id for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert all(str(text) for text in (rule.title, rule.explains, rule.source))
        assert len(rule.id) <= 40


def test_it_finds_a_rule_by_its_id() -> None:
    assert rule_named("alone") in RULES
    assert rule_named("retired_long_ago") is None


def test_it_says_errors_and_findings_apart() -> None:
    said = checked(visited_on="2026-06-16", partner_name="")
    assert [(each.rule, each.field) for each in said.errors] == [("date_future", "visited_on")]
    assert [(each.rule, each.field) for each in said.findings] == [("alone", "partner_name")]


def test_every_severity_is_used() -> None:
    assert {rule.severity for rule in RULES} == set(Severity)


# Dates


def test_it_takes_today_but_not_tomorrow() -> None:
    assert errors(visited_on="2026-06-15") == {}
    assert rules_of(errors(visited_on="2026-06-16")) == {"visited_on": "date_future"}


def test_it_doubts_years_before_1900() -> None:
    assert errors(visited_on="1900-01-01") == {}
    assert rules_of(errors(visited_on="1899-12-31")) == {"visited_on": "date_too_early"}


def test_it_refuses_a_day_before_the_site_opened() -> None:
    opened = at_site(opened_on=date(2026, 6, 14))
    assert errors(opened) == {}
    assert rules_of(errors(opened, visited_on="2026-06-13")) == {"visited_on": "site_not_open"}


def test_it_finds_a_day_after_the_site_closed() -> None:
    closed = at_site(closed_on=date(2026, 6, 13))
    assert errors(closed) == {}
    assert rules_of(findings(closed)) == {"visited_on": "site_closed"}
    assert findings(closed, visited_on="2026-06-13") == {}


def test_it_refuses_an_end_before_the_start() -> None:
    assert rules_of(errors(started_at="10:00", ended_at="09:59")) == {"ended_at": "end_before_start"}
    assert errors(started_at="10:00", ended_at="10:00") == {}
    assert errors(started_at="", ended_at="09:00") == {}


def test_it_asks_about_a_second_visit_on_the_day() -> None:
    rule, message = findings(replace(USUAL, same_day=1))["visited_on"]
    assert rule == "same_day"
    assert all(word in message for word in ("replicate", "repeat", "mistake"))


def test_it_finds_a_lapsed_permission() -> None:
    lapsed = at_site(permission_until=date(2026, 6, 13))
    assert rules_of(findings(lapsed)) == {"visited_on": "permission_lapsed"}
    assert findings(lapsed, visited_on="2026-06-13") == {}


# People and safety


def test_it_wants_recorder_and_partner_to_be_members() -> None:
    stranger = "6f1b5a53-6c5f-4b1e-9d52-0d9c1a8c5b11"
    assert rules_of(errors(recorder=stranger, partner=str(PARTNER))) == {"recorder": "not_a_member"}
    assert rules_of(errors(partner=stranger)) == {"partner": "not_a_member"}


def test_it_wants_two_different_people() -> None:
    assert rules_of(errors(recorder=str(PARTNER), partner=str(PARTNER))) == {"partner": "same_person"}


def test_it_warns_of_lone_work() -> None:
    rule, message = findings(partner_name="")["partner_name"]
    assert rule == "alone"
    assert "Nobody should work alone" in message
    assert findings(partner_name="", partner=str(PARTNER)) == {}


@pytest.mark.parametrize(
    ("change", "rule", "field"),
    [({"water_level": "spate"}, "spate", "water_level"), ({"clarity": "opaque"}, "bed_hidden", "clarity")],
)
def test_it_warns_of_dangerous_water(change: dict[str, Any], rule: str, field: str) -> None:
    assert rules_of(findings(**change)) == {field: rule}
    assert findings(**NOT_MADE, **change) == {}


def test_it_gives_no_safety_warnings_for_the_past() -> None:
    past = replace(at_site(permission_until=date(2026, 1, 1)), past_record=True)
    assert findings(past, partner_name="", water_level="spate", clarity="opaque") == {}


def test_it_takes_a_bare_recorder_name_only_for_past_records() -> None:
    assert rules_of(errors(recorder_name="Old Hand")) == {"recorder_name": "bare_recorder"}
    assert errors(replace(USUAL, past_record=True), recorder_name="Old Hand") == {}


def test_it_wants_a_reason_for_a_visit_not_made() -> None:
    assert errors(**NOT_MADE) == {}
    assert rules_of(errors(**NOT_MADE | {"not_made_reason": ""})) == {"not_made_reason": "not_made_reason"}


def test_it_refuses_a_reason_for_a_visit_that_was_made() -> None:
    assert rules_of(errors(not_made_reason="too_high")) == {"not_made_reason": "not_made_reason"}


@pytest.mark.parametrize("part", ["counts", "spots", "measurements"])
def test_it_refuses_results_of_a_visit_not_made(part: str) -> None:
    usual = {"counts": {"Baetidae": 1}, "spots": [{"number": 1, "kicks": 3, "seconds": 30}]}
    filled = {**usual, "measurements": {"ph": {"value": "7"}}}[part]
    assert rules_of(errors(**NOT_MADE | {part: filled})) == {part: "not_made_yet_found"}


# Effort


def spots(*rows: dict[str, Any]) -> list[dict[str, Any]]:
    """Three standard spots with changes to the first ones."""
    standard = [{"number": n, "kicks": 3, "seconds": "30", "depth_cm": "20"} for n in (1, 2, 3)]
    return [{**spot, **(rows[i] if i < len(rows) else {})} for i, spot in enumerate(standard)]


def test_it_says_done_against_planned() -> None:
    rule, message = findings(spots=spots({"seconds": "36"}))["spots.1.seconds"]
    assert rule == "effort_off_plan"
    assert "(12, planned 10)" in message


def test_it_finds_a_missing_spot() -> None:
    assert "(2, planned 3)" in " ".join(each.message for each in checked(spots=spots()[:2]).findings)


@pytest.mark.parametrize(
    ("seconds", "is_error"), [("0", True), ("0.1", False), ("360", False), ("360.1", True)]
)
def test_it_refuses_an_impossible_kick(seconds: str, is_error: bool) -> None:
    """More than 0 and at most 120 s a kick: common practice, no source."""
    found = errors(spots=spots({"seconds": seconds}))
    assert rules_of(found) == ({"spots.1.seconds": "kick_length"} if is_error else {})


def test_it_allows_long_kicks_where_they_are_planned() -> None:
    planned = at_site(spots=1, kicks_per_spot=1, seconds_per_kick=180)
    assert errors(planned, spots=[{"number": 1, "kicks": 1, "seconds": "360"}]) == {}
    assert errors(planned, spots=[{"number": 1, "kicks": 1, "seconds": "361"}]) != {}


def test_it_refuses_a_spot_entered_twice() -> None:
    assert rules_of(errors(spots=spots({"number": 2}))) == {"spots.2.number": "spot_twice"}


@pytest.mark.parametrize(
    ("depth", "error", "finding"),
    [("0", "depth_range", None), ("0.1", None, "shallow"), ("1", None, None), ("50", None, None),
     ("50.1", None, "deep"), ("150", None, "deep"), ("150.1", "depth_range", None), ("", None, None)],
)  # fmt: skip
def test_it_checks_the_depth(depth: str, error: str | None, finding: str | None) -> None:
    """Over 0 to 150 cm, over 50 a finding for safety: common practice, no source."""
    rows, field = spots({"depth_cm": depth}), "spots.1.depth_cm"
    assert rules_of(errors(spots=rows)).get(field) == error
    assert rules_of(findings(spots=rows)).get(field) == finding
