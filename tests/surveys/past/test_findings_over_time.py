"""Findings that rest on a site's real past: submitted, approved, then compared with."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.models import Visit
from surveys.services.visits import approve_visit, return_visit, submit_visit
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, days_ago, submission_for, submit

TEMPERATURES = ("11.0", "12.0", "12.5", "11.5", "12.0", "13.0", "11.0", "12.5")


def readings(**values: str) -> dict[str, Any]:
    return {key: {"value": value} for key, value in values.items()}


@pytest.fixture
def known_site(cast: Cast) -> Cast:
    """Eight approved monthly visits."""
    for months, temperature in enumerate(TEMPERATURES, start=1):
        visit = submit(
            cast.person("volunteer"),
            cast.site,
            visited_on=days_ago(30 * months).isoformat(),
            measurements=readings(temperature=temperature),
        )
        approve_visit(person=cast.person("coordinator"), visit=visit)
    return cast


def found(cast: Cast, **changes: Any) -> dict[str, str]:
    visit = submit(cast.person("volunteer"), cast.site, **{"measurements": {}, **changes})
    return dict(visit.findings.values_list("field", "rule"))


def test_it_finds_nothing_in_one_more_of_the_same(known_site: Cast) -> None:
    assert found(known_site, measurements=readings(temperature="12.2")) == {}


def test_it_asks_about_swapped_digits(known_site: Cast) -> None:
    visit = submit(known_site.person("volunteer"), known_site.site, measurements=readings(temperature="21"))
    finding = visit.findings.get()
    assert (finding.field, finding.rule) == ("measurements.temperature", "reading_jumps")
    assert "Did you mean 12?" in finding.message


def test_it_asks_about_a_digit_too_many(known_site: Cast) -> None:
    assert found(known_site, counts=CLEAN_COUNTS | {"Baetidae": 400}) == {}
    assert found(known_site, visited_on=days_ago(2).isoformat(), counts=CLEAN_COUNTS | {"Baetidae": 401}) == {
        "counts.Baetidae": "many"
    }


def test_it_greets_a_newcomer(known_site: Cast) -> None:
    assert found(known_site, counts=CLEAN_COUNTS | {"Perlidae": 1}) == {"counts.Perlidae": "new_here"}


def test_it_asks_about_a_second_visit_on_a_day(known_site: Cast) -> None:
    assert found(known_site, visited_on=days_ago(30).isoformat()) == {"visited_on": "same_day"}


def test_it_learns_nothing_from_visits_that_still_wait(cast: Cast) -> None:
    for months in range(1, 7):
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(30 * months).isoformat())
    assert found(cast, counts=CLEAN_COUNTS | {"Perlidae": 1}) == {}


def test_it_learns_nothing_from_another_site(known_site: Cast) -> None:
    from tests.factories import SiteFactory

    other = SiteFactory(group=known_site.group, code="AB8")
    visit = submit(known_site.person("volunteer"), other, counts={"Perlidae": 900})
    assert not visit.findings.exists()


def test_it_does_not_judge_a_returned_visit_by_itself(known_site: Cast) -> None:
    from surveys.services.visits import mend_visit

    odd = CLEAN_COUNTS | {"Baetidae": 4000}
    visit = submit(known_site.person("volunteer"), known_site.site, counts=odd, measurements={})
    return_visit(person=known_site.person("coordinator"), visit=visit, message="4000?")
    same = submission_for(
        known_site.site, id=str(visit.pk), counts=odd, measurements={}, notes="Counted twice."
    )
    mend_visit(person=known_site.person("volunteer"), visit=visit, submission=same)
    assert dict(visit.findings.values_list("rule", "decision")) == {"many": ""}


def test_it_takes_a_past_record_with_its_findings(known_site: Cast) -> None:
    submission = submission_for(
        known_site.site, partner_name="", spots=[], measurements=readings(temperature="26"), counts=CLEAN_COUNTS
    )
    visit: Visit = submit_visit(
        person=known_site.person("coordinator"), submission=submission, past_record=True
    ).visit
    rules = set(visit.findings.values_list("rule", flat=True))
    assert rules == {"effort_off_plan", "unusual_reading", "reading_jumps"}
