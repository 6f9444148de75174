"""Correcting a visit: with a reason, visibly, and never approved by the corrector."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.models import Visit
from surveys.services.visits import approve_visit, correct_visit, return_visit, submit_visit
from surveys.signals import visit_judged
from surveys.submission import InvalidSubmission
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, submission_for, submit


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site)


def correct(
    cast: Cast, visit: Visit, *, by: str = "coordinator", reason: str = "Miscounted.", **changes: Any
) -> Visit:
    """Correct what `changes` name and leave the rest as it was submitted."""
    same = {"visited_on": visit.visited_on.isoformat(), **changes}
    submission = submission_for(visit.site, id=str(visit.pk), **same)
    return correct_visit(person=cast.person(by), visit=visit, submission=submission, reason=reason)


def test_it_keeps_what_changed_visible(cast: Cast, visit: Visit) -> None:
    correct(
        cast,
        visit,
        notes="Count read again.",
        counts=CLEAN_COUNTS | {"Baetidae": 4, "Simuliidae": 3},
        measurements={"temperature": {"value": "11,4"}, "ph": {"value": "8.1"}, "nitrate": {"value": "<0.5"}},
    )
    entry = history_of(visit, cast.group).get(verb="visit.corrected")
    assert entry.changes == {
        "notes": [None, "Count read again."],
        "counts.Baetidae": ["40", "4"],
        "counts.Simuliidae": [None, "3"],
        "measurements.ph": ["7.9 pH", "8.1 pH"],
        "measurements.nitrate": [None, "<0.5 mg/L NO3"],
        "measurements.oxygen": ["10.5 mg/L", None],
    }
    assert (entry.actor, entry.reason) == (cast.coordinator, "Miscounted.")


def test_it_saves_the_corrected_values(cast: Cast, visit: Visit) -> None:
    correct(cast, visit, counts={"Baetidae": 4}, water_level="low")
    visit.refresh_from_db()
    assert visit.water_level == "low"
    assert list(visit.counts.values_list("taxon", "count")) == [("Baetidae", 4)]


def test_it_scores_anew_and_keeps_the_earlier_scores(cast: Cast, visit: Visit) -> None:
    correct(cast, visit, counts={"Baetidae": 4, "Chironomidae": 60})
    scores = visit.scores.filter(index="bmwp").order_by("pk")
    assert [(score.value, score.is_current) for score in scores] == [(48, False), (6, True)]


def test_it_becomes_an_author_who_cannot_approve(cast: Cast, visit: Visit) -> None:
    correct(cast, visit, notes="Changed.")
    assert cast.coordinator in visit.corrected_by.all()
    with pytest.raises(PermissionDenied):
        approve_visit(person=cast.person("coordinator"), visit=visit)
    assert approve_visit(person=cast.person("second_coordinator"), visit=visit).status == "approved"


def test_it_puts_an_approved_visit_back_to_waiting(cast: Cast, visit: Visit) -> None:
    approve_visit(person=cast.person("second_coordinator"), visit=visit)
    correct(cast, visit, notes="Changed.")
    visit.refresh_from_db()
    assert (visit.status, visit.reviewed_by, visit.reviewed_at) == ("waiting", None, None)


def test_it_corrects_a_returned_visit_too(cast: Cast, visit: Visit) -> None:
    return_visit(person=cast.person("coordinator"), visit=visit, message="Look.")
    assert correct(cast, visit, notes="Changed.").status == "waiting"


def test_it_tells_of_the_correction(cast: Cast, visit: Visit) -> None:
    told: list[tuple[str, float | None]] = []

    def listen(event: str, visit: Visit, **rest: Any) -> None:
        told.append((event, visit.scores.get(index="bmwp", is_current=True).value))

    visit_judged.connect(listen)
    try:
        correct(cast, visit, counts={"Baetidae": 4})
    finally:
        visit_judged.disconnect(listen)
    assert told == [("corrected", 4)]


def test_it_wants_something_changed(cast: Cast, visit: Visit) -> None:
    with pytest.raises(NotPossible, match="Nothing was changed"):
        correct(cast, visit)
    assert not visit.corrected_by.exists()


def test_it_does_not_count_another_spelling_as_a_change(cast: Cast, visit: Visit) -> None:
    spelled = {"temperature": {"value": "11,40"}, "ph": {"value": "7.90"}, "oxygen": {"value": "10.5"}}
    with pytest.raises(NotPossible, match="Nothing was changed"):
        correct(cast, visit, measurements=spelled)


def test_it_wants_a_reason(cast: Cast, visit: Visit) -> None:
    with pytest.raises(NotPossible) as refused:
        correct(cast, visit, reason="  ", notes="Changed.")
    assert refused.value.field == "reason"


def test_it_refuses_volunteers(cast: Cast, visit: Visit) -> None:
    with pytest.raises(PermissionDenied):
        correct(cast, visit, by="volunteer", notes="Changed.")


def test_it_shows_nothing_to_another_group(cast: Cast, visit: Visit) -> None:
    with pytest.raises(Http404):
        correct(cast, visit, by="neighbour_coordinator", notes="Changed.")


def test_it_stops_at_errors_and_changes_nothing(cast: Cast, visit: Visit) -> None:
    with pytest.raises(InvalidSubmission):
        correct(cast, visit, measurements={"ph": {"value": "79"}})
    assert visit.measurements.get(quantity="ph").as_typed == "7.9"
    assert visit.scores.filter(is_current=False).count() == 0


def test_it_keeps_the_recorder_when_the_correction_names_none(cast: Cast, visit: Visit) -> None:
    corrected = correct(cast, visit, notes="Changed.")
    assert corrected.recorder == cast.volunteer
    assert "recorder" not in history_of(visit, cast.group).get(verb="visit.corrected").changes


def test_it_keeps_a_decision_on_what_is_still_unusual(cast: Cast) -> None:
    from surveys.services.visits import decide_finding

    visit = submit(cast.person("volunteer"), cast.site, partner_name="", water_level="spate")
    decide_finding(
        person=cast.person("second_coordinator"),
        finding=visit.findings.get(rule="alone"),
        decision="accepted",
        reason="A friend stood by.",
    )
    correct(cast, visit, partner_name="", water_level="high")
    decisions = dict(visit.findings.values_list("rule", "decision"))
    assert decisions == {"alone": "accepted", "spate": "mended"}


def test_it_raises_a_new_finding_for_a_corrected_value(cast: Cast, visit: Visit) -> None:
    correct(cast, visit, measurements={"ph": {"value": "9.6"}})
    assert visit.findings.get().rule == "unusual_reading"


def test_it_turns_a_made_visit_into_one_not_made(cast: Cast, visit: Visit) -> None:
    correct(cast, visit, was_made=False, not_made_reason="no_access", spots=[], measurements={}, counts=[])
    assert not visit.scores.filter(is_current=True).exists()
    assert not visit.counts.exists()
    entry = history_of(visit, cast.group).get(verb="visit.corrected")
    assert entry.changes["was_made"] == [True, False]


def test_it_corrects_a_past_record_as_a_past_record(cast: Cast) -> None:
    loader = cast.person("coordinator")
    visit = submit_visit(
        person=loader, submission=submission_for(cast.site, recorder_name="Old Hand"), past_record=True
    ).visit
    corrected = correct(
        cast, visit, by="second_coordinator", recorder_name="Old Hand", partner_name="", notes="Changed."
    )
    assert corrected.recorder is None
    assert not corrected.findings.exists()
