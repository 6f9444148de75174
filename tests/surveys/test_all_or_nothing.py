"""Each service writes everything or nothing: whatever step fails, the record stands as it stood."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction

from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.models import Draft, Finding, Measurement, SpotEffort, TaxonCount, Visit, VisitScore
from surveys.services.drafts import start_visit
from surveys.services.visits import (
    approve_visit,
    correct_visit,
    decide_finding,
    mend_visit,
    return_visit,
    submit_visit,
)
from surveys.submission import InvalidSubmission, submission_data
from tests.conftest import Cast
from tests.factories import submission_for, submit

SERVICES = "surveys.services"


class PowerCut(Exception):
    """What no code expects."""


def cut_power(*args: Any, **kwargs: Any) -> None:
    raise PowerCut


def numbers(cast: Cast) -> dict[str, int]:
    """How many rows the group has of everything a visit writes."""
    models = (Visit, Draft, Finding, Measurement, SpotEffort, TaxonCount, VisitScore, AuditEntry, Message)
    return {model.__name__: model.objects.of_group(cast.group).count() for model in models}


def stays_as_it_was(cast: Cast, call: Callable[[], Any]) -> None:
    before = numbers(cast)
    with pytest.raises(PowerCut):
        call()
    assert numbers(cast) == before


@pytest.mark.parametrize(
    "step",
    [
        "taking_in.findings_in",
        "taking_in.write_parts",
        "taking_in.write_findings",
        "taking_in.score_visits",
        "taking_in._remove_drafts",
        "taking_in.record_change_of_each",
        "taking_in.tell_of_new",
    ],
)
def test_a_submission_that_fails_leaves_nothing_behind(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    submission = submission_for(cast.site, id=str(draft.pk), partner_name="")
    monkeypatch.setattr(f"{SERVICES}.{step}", cut_power)
    stays_as_it_was(cast, lambda: submit_visit(person=person, submission=submission))
    monkeypatch.undo()
    assert submit_visit(person=person, submission=submission).is_new


@pytest.mark.parametrize(
    "step",
    [
        "visits.check",
        "visits.rewrite_parts",
        "visits.renew_findings",
        "visits.rescore_visit",
        "visits.record_change",
        "visits.tell",
    ],
)
@pytest.mark.parametrize("way", ["correct", "mend"])
def test_a_revision_that_fails_changes_nothing(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, step: str, way: str
) -> None:
    visit = submit(cast.person("volunteer"), cast.site, partner_name="")
    if way == "mend":
        visit = return_visit(person=cast.person("second_coordinator"), visit=visit, message="Look.")
    before = submission_data(visit)
    revised = submission_for(cast.site, id=str(visit.pk), counts={"Baetidae": 1})
    monkeypatch.setattr(f"{SERVICES}.{step}", cut_power)

    def revise() -> Visit:
        if way == "mend":
            return mend_visit(person=cast.person("volunteer"), visit=visit, submission=revised)
        return correct_visit(
            person=cast.person("coordinator"), visit=visit, submission=revised, reason="Miscounted."
        )

    stays_as_it_was(cast, revise)
    kept = Visit.objects.of_group(cast.group).get(pk=visit.pk)
    assert submission_data(kept) == before
    assert (kept.status, kept.corrected_by.count()) == (visit.status, 0)
    assert kept.scores.filter(is_current=False).count() == 0
    assert kept.findings.get().decision == ""


@pytest.mark.parametrize("step", ["review.record_change", "review.tell", "review._set_status"])
def test_an_approval_that_fails_leaves_the_visit_waiting(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    visit = submit(cast.person("volunteer"), cast.site, partner_name="")
    monkeypatch.setattr(f"{SERVICES}.{step}", cut_power)
    person = cast.person("coordinator")
    stays_as_it_was(
        cast, lambda: approve_visit(person=person, visit=visit, accept_findings_reason="Two were there.")
    )
    visit.refresh_from_db()
    assert visit.status == "waiting"
    assert visit.findings.get().decision == ""


@pytest.mark.parametrize("step", ["review.record_change", "review.tell", "review.tell_recorder_returned"])
def test_a_return_that_fails_owes_no_email(cast: Cast, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    monkeypatch.setattr(f"{SERVICES}.{step}", cut_power)
    stays_as_it_was(cast, lambda: return_visit(person=cast.person("coordinator"), visit=visit, message="Look."))
    visit.refresh_from_db()
    assert (visit.status, visit.review_message) == ("waiting", "")


def test_a_decision_that_fails_leaves_the_finding_open(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = submit(cast.person("volunteer"), cast.site, partner_name="")
    finding = visit.findings.get()
    monkeypatch.setattr(f"{SERVICES}.findings.record_change", cut_power)
    person = cast.person("coordinator")
    stays_as_it_was(
        cast, lambda: decide_finding(person=person, finding=finding, decision="accepted", reason="Seen.")
    )
    finding.refresh_from_db()
    assert (finding.decision, finding.decided_by) == ("", None)


@pytest.mark.django_db(transaction=True)
def test_it_is_the_transaction_that_keeps_a_submission_whole(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a real commit, without a test's own transaction around it."""
    monkeypatch.setattr(f"{SERVICES}.taking_in.tell_of_new", cut_power)
    person, submission = cast.person("volunteer"), submission_for(cast.site)
    stays_as_it_was(cast, lambda: submit_visit(person=person, submission=submission))


def test_many_visits_stand_or_fall_together_inside_a_callers_transaction(cast: Cast) -> None:
    """As a spreadsheet loads them: one bad row, and none of the rows is in."""
    person = cast.person("coordinator")
    good, bad = submission_for(cast.site), submission_for(cast.site, counts=[])

    def load() -> None:
        with transaction.atomic():
            for submission in (good, bad):
                submit_visit(person=person, submission=submission, past_record=True)

    before = numbers(cast)
    with pytest.raises(InvalidSubmission):
        load()
    assert numbers(cast) == before


def test_a_callers_transaction_survives_a_refused_submission(cast: Cast) -> None:
    """A dry run goes on to the next row after one that has errors."""
    person = cast.person("coordinator")
    with transaction.atomic():
        with pytest.raises(InvalidSubmission):
            submit(person, cast.site, counts=[])
        visit = submit(person, cast.site)
    assert Visit.objects.of_group(cast.group).get() == visit
