"""The whole course of one visit through the review, and what its trail can still tell."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from portal.audit.services import history_of
from surveys.models import Visit
from surveys.services.visits import approve_visit, correct_visit, decide_finding, mend_visit, return_visit
from surveys.signals import visit_judged
from surveys.submission import differences, submission_of
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, submission_for, submit


def revised(cast: Cast, visit: Visit, **changes: Any) -> Any:
    return submission_for(cast.site, id=str(visit.pk), **{"partner_name": "", **changes})


@pytest.fixture
def course(cast: Cast) -> tuple[Visit, list[str]]:
    """Submitted, returned, mended, corrected by one coordinator and approved by the other."""
    events: list[str] = []

    def listen(event: str, **told: Any) -> None:
        events.append(event)

    one, other = cast.person("coordinator"), cast.person("second_coordinator")
    visit_judged.connect(listen)
    try:
        visit = submit(cast.person("volunteer"), cast.site, partner_name="")
        return_visit(person=one, visit=visit, message="40 baetids or 400?")
        counts = CLEAN_COUNTS | {"Baetidae": 400}
        mend_visit(person=cast.person("volunteer"), visit=visit, submission=revised(cast, visit, counts=counts))
        counts["Elmidae"] = 9
        correct_visit(
            person=one, visit=visit, submission=revised(cast, visit, counts=counts), reason="Seen on the photo."
        )
        approve_visit(person=other, visit=visit, accept_findings_reason="Her brother stood by.")
    finally:
        visit_judged.disconnect(listen)
    visit.refresh_from_db()
    return visit, events


def test_it_tells_of_every_step(course: tuple[Visit, list[str]]) -> None:
    assert course[1] == ["submitted", "returned", "mended", "corrected", "approved"]


def test_it_names_who_did_each_step(cast: Cast, course: tuple[Visit, list[str]]) -> None:
    trail = [(entry.verb, entry.actor_name) for entry in history_of(course[0], cast.group)]
    assert trail == [
        ("visit.submitted", "Vera Example"),
        ("visit.returned", "Cora Example"),
        ("visit.mended", "Vera Example"),
        ("visit.corrected", "Cora Example"),
        ("visit.approved", "Cole Example"),
    ]


def test_the_original_entry_can_be_told_from_the_trail(cast: Cast, course: tuple[Visit, list[str]]) -> None:
    """Walking the changes back from what stands now gives what was first submitted."""
    visit, _events = course
    original = revised(cast, visit)
    now = differences(original, submission_of(visit))
    back: dict[str, Any] = {}
    for entry in history_of(visit, cast.group).filter(verb__in=["visit.mended", "visit.corrected"]):
        for path, (old, _new) in entry.changes.items():
            back.setdefault(path, old)
    assert {path: pair[0] for path, pair in now.items() if path != "recorder"} == back
    assert back == {"counts.Baetidae": "40", "counts.Elmidae": "8"}


def test_every_score_it_ever_had_is_kept(course: tuple[Visit, list[str]]) -> None:
    visit, _events = course
    scores = visit.scores.filter(index="bmwp").order_by("pk")
    assert [(score.value, score.is_current) for score in scores] == [(48, False), (48, False), (48, True)]
    shannon = visit.scores.filter(index="shannon").values_list("value", flat=True)
    assert len(set(shannon)) == 3


def test_a_correction_after_approval_opens_the_visit_again(cast: Cast, course: tuple[Visit, list[str]]) -> None:
    visit, _events = course
    other = cast.person("second_coordinator")
    correct_visit(
        person=other, visit=visit, submission=revised(cast, visit, water_level="low"), reason="From the gauge."
    )
    visit.refresh_from_db()
    assert visit.status == "waiting"
    # Both coordinators are authors now: a group with two needs a third person.
    for role in ("coordinator", "second_coordinator"):
        with pytest.raises(PermissionDenied):
            approve_visit(person=cast.person(role), visit=visit)


def test_a_decided_finding_needs_no_second_decision(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, partner_name="")
    one, other = cast.person("coordinator"), cast.person("second_coordinator")
    decide_finding(person=other, finding=visit.findings.get(), decision="accepted", reason="Seen.")
    correct_visit(
        person=one, visit=visit, submission=revised(cast, visit, notes="Warm day."), reason="Told by phone."
    )
    assert approve_visit(person=other, visit=visit).status == "approved"
    assert visit.findings.get().decision_reason == "Seen."


def test_a_message_of_an_earlier_return_does_not_hang_on_the_approval(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    return_visit(person=cast.person("coordinator"), visit=visit, message="Look.")
    mend_visit(
        person=cast.person("volunteer"), visit=visit, submission=submission_for(cast.site, id=str(visit.pk))
    )
    assert approve_visit(person=cast.person("coordinator"), visit=visit).review_message == ""
    assert history_of(visit, cast.group).get(verb="visit.returned").reason == "Look."
