"""Returning a visit to its recorder, who mends it."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from portal.audit.services import history_of
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.models import Visit
from surveys.services.visits import approve_visit, mend_visit, return_visit
from surveys.submission import InvalidSubmission
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, UserFactory, person_for, submission_for, submit

MESSAGE = "Is it 400 or 40 baetids?\nThe photo shows fewer."


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site, partner_name="")


@pytest.fixture
def returned(cast: Cast, visit: Visit) -> Visit:
    return return_visit(person=cast.person("coordinator"), visit=visit, message=MESSAGE)


def test_it_returns_with_a_message(cast: Cast, returned: Visit) -> None:
    returned.refresh_from_db()
    assert (returned.status, returned.review_message) == ("returned", MESSAGE)
    entry = history_of(returned, cast.group).get(verb="visit.returned")
    assert (entry.actor, entry.reason) == (cast.coordinator, MESSAGE)


def test_it_owes_the_recorder_an_email(cast: Cast, returned: Visit) -> None:
    message = Message.objects.of_group(cast.group).get()
    assert (message.to_address, message.reply_to) == ("vera@example.org", "cora@example.org")
    assert "Stepping stones" in message.subject
    assert "Is it 400 or 40 baetids?" in message.text
    assert f"/groups/alder-beck/visits/{returned.pk}/mend/" in message.text
    assert f"/groups/alder-beck/visits/{returned.pk}/mend/" in message.html
    assert "\n" not in message.subject


def test_it_does_not_escape_the_plain_text(cast: Cast, visit: Visit) -> None:
    return_visit(person=cast.person("coordinator"), visit=visit, message="Was it < 5 & dry?")
    message = Message.objects.of_group(cast.group).get()
    assert "Was it < 5 & dry?" in message.text
    assert "Was it &lt; 5 &amp; dry?" in message.html


def test_it_owes_a_second_email_for_a_second_return(cast: Cast, returned: Visit) -> None:
    mend_visit(
        person=cast.person("volunteer"),
        visit=returned,
        submission=submission_for(cast.site, id=str(returned.pk)),
    )
    return_visit(person=cast.person("second_coordinator"), visit=returned, message="Once more, please.")
    assert Message.objects.of_group(cast.group).count() == 2


def test_it_writes_to_the_typist_when_no_recorder_has_an_account(cast: Cast, visit: Visit) -> None:
    visit.recorder = None
    visit.entered_by = cast.other_volunteer
    visit.save()
    return_visit(person=cast.person("coordinator"), visit=visit, message="Please look.")
    assert Message.objects.of_group(cast.group).get().to_address == "owen@example.org"


def test_it_wants_a_message(cast: Cast, visit: Visit) -> None:
    with pytest.raises(NotPossible) as refused:
        return_visit(person=cast.person("coordinator"), visit=visit, message="  \n ")
    assert refused.value.field == "message"
    assert not Message.objects.of_group(cast.group).exists()


def test_it_refuses_volunteers_and_the_involved(cast: Cast, visit: Visit) -> None:
    with pytest.raises(PermissionDenied):
        return_visit(person=cast.person("other_volunteer"), visit=visit, message="Look.")
    visit.partner = cast.coordinator
    visit.save()
    with pytest.raises(PermissionDenied):
        return_visit(person=cast.person("coordinator"), visit=visit, message="Look.")


def test_it_shows_nothing_to_another_group(cast: Cast, visit: Visit) -> None:
    with pytest.raises(Http404):
        return_visit(person=cast.person("neighbour_coordinator"), visit=visit, message="Look.")


def test_it_does_not_return_what_is_approved(cast: Cast, visit: Visit) -> None:
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Fine.")
    with pytest.raises(NotPossible):
        return_visit(person=cast.person("coordinator"), visit=visit, message="Look.")


def test_it_takes_the_mended_visit_back_to_waiting(cast: Cast, returned: Visit) -> None:
    mended = mend_visit(
        person=cast.person("volunteer"),
        visit=returned,
        submission=submission_for(cast.site, id=str(returned.pk), counts={"Baetidae": 40, "Elmidae": 2}),
    )
    mended.refresh_from_db()
    assert (mended.status, mended.reviewed_by, mended.reviewed_at) == ("waiting", None, None)
    assert dict(mended.counts.values_list("taxon", "count")) == {"Baetidae": 40, "Elmidae": 2}
    assert mended.scores.get(index="bmwp", is_current=True).value == 9
    entry = history_of(mended, cast.group).get(verb="visit.mended")
    assert entry.changes["counts.Heptageniidae"] == ["14", None]
    assert entry.changes["partner_name"] == [None, "Sam Example"]


def test_it_marks_a_finding_that_is_gone_as_mended(cast: Cast, returned: Visit) -> None:
    assert returned.findings.get().decision == ""
    mend_visit(
        person=cast.person("volunteer"),
        visit=returned,
        submission=submission_for(cast.site, id=str(returned.pk), partner_name="Kim Example"),
    )
    finding = returned.findings.get()
    assert (finding.decision, finding.decided_by) == ("mended", cast.volunteer)


def test_it_lets_the_recorder_answer_that_all_is_right(cast: Cast, returned: Visit) -> None:
    unchanged = submission_for(cast.site, id=str(returned.pk), partner_name="")
    assert mend_visit(person=cast.person("volunteer"), visit=returned, submission=unchanged).status == "waiting"
    assert returned.findings.get().decision == ""


def mend(cast: Cast, visit: Visit, **changes: str) -> Visit:
    submission = submission_for(cast.site, id=str(visit.pk), **changes)
    return mend_visit(person=cast.person("volunteer"), visit=visit, submission=submission)


def test_it_mends_what_nobody_has_approved_yet(cast: Cast, visit: Visit) -> None:
    """Who sees a slip in what they sent need not wait for somebody to return it."""
    mended = mend(cast, visit, notes="Two trays, not one.")
    assert (mended.status, mended.notes) == ("waiting", "Two trays, not one.")
    assert history_of(mended, cast.group).get(verb="visit.mended").changes["notes"]
    with pytest.raises(NotPossible, match="Nothing was changed"):
        mend(cast, mended, notes="Two trays, not one.")


def test_it_mends_nothing_that_is_approved(cast: Cast, visit: Visit) -> None:
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Fine.")
    with pytest.raises(NotPossible, match="is approved"):
        mend(cast, visit, notes="Late.")


def test_it_approves_nothing_that_was_mended_since_it_was_seen(cast: Cast, visit: Visit) -> None:
    coordinator, seen = cast.person("coordinator"), visit.revision
    mended = mend(cast, visit, partner_name="Kim Example")
    with pytest.raises(NotPossible, match="changed since"):
        approve_visit(person=coordinator, visit=visit, accept_findings_reason="Fine.", revision=seen)
    approved = approve_visit(
        person=coordinator, visit=visit, accept_findings_reason="Fine.", revision=mended.revision
    )
    assert approved.status == "approved"


def test_it_lets_only_recorder_or_typist_mend(cast: Cast, returned: Visit) -> None:
    with pytest.raises(PermissionDenied):
        mend_visit(
            person=cast.person("other_volunteer"),
            visit=returned,
            submission=submission_for(cast.site, id=str(returned.pk)),
        )


def test_it_stops_a_mended_visit_with_errors(cast: Cast, returned: Visit) -> None:
    with pytest.raises(InvalidSubmission):
        mend_visit(
            person=cast.person("volunteer"),
            visit=returned,
            submission=submission_for(cast.site, id=str(returned.pk), counts=[]),
        )
    returned.refresh_from_db()
    assert returned.status == "returned"
    assert returned.counts.count() == 7


def test_it_keeps_a_visit_at_its_site(cast: Cast, returned: Visit) -> None:
    elsewhere = SiteFactory(group=cast.group, code="AB9")
    with pytest.raises(InvalidSubmission) as refused:
        mend_visit(
            person=cast.person("volunteer"),
            visit=returned,
            submission=submission_for(elsewhere, id=str(returned.pk)),
        )
    assert [each.field for each in refused.value.problems] == ["site"]


def test_it_takes_a_partner_who_has_left_since(cast: Cast) -> None:
    gone = UserFactory()
    membership = MembershipFactory(group=cast.group, user=gone)
    visit = submit(person_for(cast.volunteer), cast.site, partner=str(gone.pk), partner_name="")
    return_visit(person=cast.person("coordinator"), visit=visit, message="Look.")
    membership.left_at = visit.submitted_at
    membership.save()
    same = submission_for(cast.site, id=str(visit.pk), partner=str(gone.pk), partner_name="", notes="Right.")
    assert mend_visit(person=person_for(cast.volunteer), visit=visit, submission=same).partner == gone
