"""A score that rounds to its trigger: compared exactly, and told in as many decimals as it takes."""

from __future__ import annotations

import pytest
from django.urls import reverse
from hypothesis import example, given
from hypothesis import strategies as st

from alerts.evidence.of_visit import evidence_of
from alerts.judging.figures import is_close, told_apart
from alerts.models import Verdict
from scoring.indices.methods import METHODS
from tests.alerts.conftest import Watch, mails, set_level, verdict_of
from tests.alerts.test_incidents import correct
from tests.factories import days_ago
from tests.surveys.pages import address, signed_in, text_of

BMWP, ASPT = METHODS["bmwp"], METHODS["aspt"]
# 10 + 10 + 5 + 4 + 3 x 5 = 44 on nine families: ASPT 4.8889, which prints as 4.89.
SCORING = "Heptageniidae Leuctridae Elmidae Baetidae Asellidae Erpobdellidae Physidae Lymnaeidae Sphaeriidae"
NINE = {name: 5 for name in SCORING.split()}
# The same without a family of 3: 41 on eight, 5.125.
EIGHT = {name: number for name, number in NINE.items() if name != "Sphaeriidae"}


@pytest.mark.parametrize(
    ("score", "level", "told"),
    [
        (44 / 9, 4.89, ("4.889", "4.890", "0.001")),
        (4.8899, 4.89, ("4.8899", "4.8900", "0.0001")),
        # Printed apart, yet what lies between them would be 0.00.
        (4.8849, 4.8851, ("4.8849", "4.8851", "0.0002")),
        (4.88, 4.89, ("4.88", "4.89", "0.01")),
        (4.5, 4.89, ("4.50", "4.89", "0.39")),
        (4.89, 4.89, ("4.89", "4.89", "0.00")),
    ],
)
def test_it_shows_what_lies_between_score_and_level(
    score: float, level: float, told: tuple[str, str, str]
) -> None:
    assert told_apart(score, level, ASPT) == told


def test_it_shows_it_for_whole_scores_and_a_finer_level() -> None:
    assert told_apart(29, 30, BMWP) == ("29", "30", "1")
    assert told_apart(30, 30.001, BMWP) == ("30.000", "30.001", "0.001")


@given(st.floats(0.01, 300), st.floats(1e-6, 1))
@example(44 / 9, 4.89 - 44 / 9)
@example(0.125, 0.01)
def test_it_never_hides_a_difference(score: float, gap: float) -> None:
    level = score + gap
    for method in (BMWP, ASPT):
        lower, upper, between = told_apart(score, level, method)
        assert float(lower) < float(upper)
        assert float(between) > 0


@given(st.floats(0.01, 10), st.floats(0.011, 1))
def test_it_adds_no_decimals_where_none_are_needed(score: float, gap: float) -> None:
    if not is_close(score, score + gap, ASPT):
        assert {len(part.partition(".")[2]) for part in told_apart(score, score + gap, ASPT)} == {2}


def test_it_does_not_matter_which_of_the_two_is_higher() -> None:
    above, below = told_apart(4.89, 44 / 9, ASPT), told_apart(44 / 9, 4.89, ASPT)
    assert (above[1], above[0], above[2]) == below


def set_aspt(watch: Watch, level: float) -> None:
    usual = {"index": "aspt", "valid_from": days_ago(20), "despite_provisional": True}
    set_level(watch.site, watch.cast.coordinator, level, **usual)


class TestVisit:
    @pytest.fixture
    def close(self, watch: Watch) -> Watch:
        """A site whose trigger is an ASPT of 4.89."""
        set_aspt(watch, 4.89)
        return watch

    def submit(self, watch: Watch, counts: dict[str, int]) -> Verdict:
        return verdict_of(watch.submit_clean(visited_on=days_ago(1).isoformat(), counts=counts))

    def test_a_score_that_prints_as_the_level_fires_when_it_is_strictly_below(self, close: Watch) -> None:
        verdict = self.submit(close, NINE)
        assert verdict.outcome == Verdict.Outcome.BELOW
        found = evidence_of(verdict.visit, verdict)
        assert (found.score, found.trigger, found.shortfall) == ("4.889", "4.890", "0.001")
        assert found.is_close

    def test_a_score_at_the_level_does_not_fire(self, close: Watch) -> None:
        set_aspt(close, 44 / 9)
        assert self.submit(close, NINE).outcome == Verdict.Outcome.NOT_BELOW

    def test_the_mail_never_says_below_by_nothing(self, close: Watch) -> None:
        self.submit(close, NINE)
        mail = mails(kind="contact.told")[0]
        assert "ASPT 4.889, below the trigger of 4.890" in mail.subject
        assert "the score is 0.001 below it" in mail.text
        assert "0.00<" not in mail.html

    def test_the_page_says_why_there_are_more_decimals(self, close: Watch) -> None:
        verdict = self.submit(close, NINE)
        incident = verdict.visit.incidents.get()
        page = signed_in(close.cast.coordinator).get(reverse("incident_detail", args=[incident.pk]))
        assert "0.001 more decimals than usual, because rounding would hide the difference" in text_of(page)

    def test_a_lifted_alert_tells_score_and_trigger_apart(self, close: Watch) -> None:
        verdict = self.submit(close, NINE)
        correct(close.cast, verdict.visit, EIGHT)
        assert "ASPT 5.12, not below the trigger of 4.89" in mails(kind="contact.withdrawn")[0].text

    def test_the_trigger_page_states_the_rule(self, close: Watch) -> None:
        page = signed_in(close.cast.coordinator).get(
            address("trigger_set", close.cast.group, site_id=close.site.pk)
        )
        assert "at a level of 4.89 a score of 4.8889, printed as 4.89, is below" in text_of(page)
