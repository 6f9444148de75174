"""Approving a visit: never one's own, and never over an undecided finding."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.http import Http404

from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.models import Finding, Visit
from surveys.services.visits import approve_visit, decide_finding, return_visit, submit_visit
from surveys.signals import visit_judged
from tests.conftest import Cast
from tests.factories import submission_for, submit


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site)


@pytest.fixture
def alone(cast: Cast) -> Visit:
    """A visit with one finding."""
    return submit(cast.person("volunteer"), cast.site, partner_name="")


def test_it_approves_with_name_and_time(cast: Cast, visit: Visit) -> None:
    approved = approve_visit(person=cast.person("coordinator"), visit=visit)
    visit.refresh_from_db()
    assert (visit.status, visit.reviewed_by) == ("approved", cast.coordinator)
    assert visit.reviewed_at == approved.reviewed_at
    entry = history_of(visit, cast.group).get(verb="visit.approved")
    assert entry.changes == {"status": ["waiting", "approved"]}


def test_it_tells_of_the_approval(cast: Cast, visit: Visit) -> None:
    events: list[str] = []

    def listen(event: str, **told: object) -> None:
        events.append(event)

    visit_judged.connect(listen)
    try:
        approve_visit(person=cast.person("coordinator"), visit=visit)
    finally:
        visit_judged.disconnect(listen)
    assert events == ["approved"]


def test_it_refuses_volunteers(cast: Cast, visit: Visit) -> None:
    with pytest.raises(PermissionDenied):
        approve_visit(person=cast.person("other_volunteer"), visit=visit)


def test_it_shows_nothing_to_a_coordinator_of_another_group(cast: Cast, visit: Visit) -> None:
    with pytest.raises(Http404):
        approve_visit(person=cast.person("neighbour_coordinator"), visit=visit)


@pytest.mark.parametrize("part", ["entered_by", "recorder", "partner", "corrected_by"])
def test_it_refuses_whoever_was_involved(cast: Cast, visit: Visit, part: str) -> None:
    if part == "corrected_by":
        visit.corrected_by.add(cast.coordinator)
    else:
        setattr(visit, part, cast.coordinator)
        visit.save()
    with pytest.raises(PermissionDenied):
        approve_visit(person=cast.person("coordinator"), visit=visit)
    assert approve_visit(person=cast.person("second_coordinator"), visit=visit).status == "approved"


def test_it_refuses_a_coordinators_own_visit(cast: Cast) -> None:
    own = submit(cast.person("coordinator"), cast.site)
    with pytest.raises(PermissionDenied):
        approve_visit(person=cast.person("coordinator"), visit=own)


def test_it_is_the_database_too_that_refuses_a_typists_approval(cast: Cast, visit: Visit) -> None:
    visit.status, visit.reviewed_by = "approved", visit.entered_by
    with pytest.raises(IntegrityError, match="visit_not_approved_by_its_typist"), transaction.atomic():
        visit.save()


def test_it_is_the_database_too_that_refuses_approval_by_nobody(cast: Cast, visit: Visit) -> None:
    visit.status = "approved"
    with pytest.raises(IntegrityError, match="visit_approved_by_somebody"), transaction.atomic():
        visit.save()


def test_it_approves_only_what_waits(cast: Cast, visit: Visit) -> None:
    approve_visit(person=cast.person("coordinator"), visit=visit)
    with pytest.raises(NotPossible, match="not waiting any more"):
        approve_visit(person=cast.person("second_coordinator"), visit=visit)


def test_it_does_not_approve_what_was_returned(cast: Cast, visit: Visit) -> None:
    return_visit(person=cast.person("coordinator"), visit=visit, message="Please look at the count.")
    with pytest.raises(NotPossible):
        approve_visit(person=cast.person("coordinator"), visit=visit)


def test_it_wants_each_finding_decided(cast: Cast, alone: Visit) -> None:
    with pytest.raises(NotPossible) as refused:
        approve_visit(person=cast.person("coordinator"), visit=alone, accept_findings_reason="  ")
    assert refused.value.field == "accept_findings_reason"
    alone.refresh_from_db()
    assert alone.status == "waiting"


def test_it_accepts_all_open_findings_with_one_reason(cast: Cast, alone: Visit) -> None:
    approve_visit(
        person=cast.person("coordinator"), visit=alone, accept_findings_reason="Her son stood on the bank."
    )
    finding = alone.findings.get()
    assert finding.decision == Finding.Decision.ACCEPTED
    assert (finding.decided_by, finding.decision_reason) == (cast.coordinator, "Her son stood on the bank.")
    entry = history_of(alone, cast.group).get(verb="visit.approved")
    assert entry.reason == "Her son stood on the bank."


def test_it_approves_once_each_finding_is_decided(cast: Cast, alone: Visit) -> None:
    person = cast.person("coordinator")
    decide_finding(person=person, finding=alone.findings.get(), decision="accepted", reason="Two were there.")
    assert approve_visit(person=person, visit=alone).status == "approved"


def test_it_keeps_decided_findings_as_they_were(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, partner_name="", water_level="spate")
    first = visit.findings.get(rule="alone")
    decide_finding(person=cast.person("coordinator"), finding=first, decision="accepted", reason="First.")
    approve_visit(person=cast.person("second_coordinator"), visit=visit, accept_findings_reason="Second.")
    assert dict(visit.findings.values_list("rule", "decision_reason")) == {
        "alone": "First.",
        "spate": "Second.",
    }


def test_it_does_not_let_the_involved_decide_on_findings(cast: Cast) -> None:
    own = submit(cast.person("coordinator"), cast.site, partner_name="")
    with pytest.raises(PermissionDenied):
        decide_finding(
            person=cast.person("coordinator"), finding=own.findings.get(), decision="accepted", reason="Fine."
        )


@pytest.mark.parametrize(
    ("decision", "reason", "field"),
    [("accepted", " ", "reason"), ("", "x", "decision"), ("maybe", "x", "decision")],
)
def test_it_wants_a_decision_with_a_reason(
    cast: Cast, alone: Visit, decision: str, reason: str, field: str
) -> None:
    with pytest.raises(NotPossible) as refused:
        decide_finding(
            person=cast.person("coordinator"), finding=alone.findings.get(), decision=decision, reason=reason
        )
    assert refused.value.field == field
    assert alone.findings.get().decision == Finding.Decision.OPEN


def test_it_writes_down_who_decided_on_a_finding(cast: Cast, alone: Visit) -> None:
    decide_finding(
        person=cast.person("coordinator"), finding=alone.findings.get(), decision="accepted", reason="Seen."
    )
    entry = history_of(alone, cast.group).get(verb="finding.decided")
    assert (entry.actor, entry.reason) == (cast.coordinator, "Seen.")
    assert entry.changes == {"partner_name": ["", "accepted"]}


def test_the_trail_tells_what_a_finding_was_when_it_was_decided(cast: Cast, alone: Visit) -> None:
    """Two coordinators have the visit open; the second decides on what the first has decided already."""
    first, second = alone.findings.get(), alone.findings.get()
    decide_finding(person=cast.person("coordinator"), finding=first, decision="accepted", reason="Seen.")
    decide_finding(person=cast.person("second_coordinator"), finding=second, decision="mended", reason="No.")
    entries = history_of(alone, cast.group).filter(verb="finding.decided")
    told = {each.actor_name: each.changes for each in entries}
    assert told == {
        cast.coordinator.name: {"partner_name": ["", "accepted"]},
        cast.second_coordinator.name: {"partner_name": ["accepted", "mended"]},
    }


def test_it_decides_on_findings_only_while_the_visit_waits(cast: Cast, alone: Visit) -> None:
    approve_visit(person=cast.person("coordinator"), visit=alone, accept_findings_reason="Fine.")
    with pytest.raises(NotPossible, match="waits"):
        decide_finding(
            person=cast.person("coordinator"), finding=alone.findings.get(), decision="mended", reason="Oh."
        )


def test_it_approves_a_past_record_by_another_than_its_loader(cast: Cast) -> None:
    loader = cast.person("coordinator")
    visit = submit_visit(person=loader, submission=submission_for(cast.site), past_record=True).visit
    with pytest.raises(PermissionDenied):
        approve_visit(person=loader, visit=visit)
    assert approve_visit(person=cast.person("second_coordinator"), visit=visit).status == "approved"
