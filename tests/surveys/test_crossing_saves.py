"""Saves that cross, on real connections: reviewers who disagree; a draft saved, sent and discarded at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from threading import Barrier, Event
from typing import Any

import pytest
from django.conf import LazySettings

from portal.audit.services import history_of
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.models import Draft, Visit
from surveys.queries import photos_of
from surveys.services.drafts import discard_draft, save_draft, start_visit
from surveys.services.findings import decide_finding
from surveys.services.photos import add_photo
from surveys.services.review import approve_visit, return_visit
from surveys.services.visits import correct_visit, mend_visit, submit_visit
from surveys.views.shared import find_draft
from tests.conftest import Cast
from tests.factories import submission_for, submit
from tests.surveys.pages import address, picture, signed_in, text_of
from tests.threads import PATIENCE, in_thread, run_together

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = 5


@pytest.fixture(autouse=True)
def _media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def at_once(*calls: Callable[[], Any]) -> list[BaseException | None]:
    """What each call raised, all of them let go in the same moment."""
    start = Barrier(len(calls), timeout=PATIENCE)

    def after_the_start(call: Callable[[], Any]) -> Callable[[], Any]:
        def run() -> Any:
            start.wait()
            return call()

        return run

    return [done.exception() for done in run_together(*map(after_the_start, calls))]


def verbs(visit: Visit) -> list[str]:
    """What was done to the visit after it was sent in."""
    return [entry.verb for entry in history_of(visit, visit.group)][1:]


@pytest.mark.parametrize("attempt", range(ROUNDS))
def test_it_either_approves_or_returns(cast: Cast, attempt: int) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    one, other = cast.person("coordinator"), cast.person("second_coordinator")
    raised = at_once(
        lambda: approve_visit(person=one, visit=visit),
        lambda: return_visit(person=other, visit=visit, message="Look again."),
    )
    visit.refresh_from_db()
    assert sorted(type(error) is NotPossible for error in raised) == [False, True]
    assert verbs(visit) == [f"visit.{visit.status}"]
    told = Message.objects.across_groups("all there are").filter(kind__contains="return").count()
    assert told == (visit.status == "returned")


@pytest.mark.parametrize("attempt", range(ROUNDS))
def test_it_never_leaves_a_correction_approved_that_nobody_checked(cast: Cast, attempt: int) -> None:
    """Corrected first, the other one approves what they see; approved first, the correction waits again."""
    visit = submit(cast.person("volunteer"), cast.site)
    one, other = cast.person("coordinator"), cast.person("second_coordinator")
    corrected = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
    raised = at_once(
        lambda: correct_visit(person=one, visit=visit, submission=corrected, reason="Notes."),
        lambda: approve_visit(person=other, visit=visit),
    )
    visit.refresh_from_db()
    assert raised[0] is None
    assert visit.notes == "Mended."
    assert list(visit.corrected_by.all()) == [cast.coordinator]
    last = verbs(visit)[-1]
    assert visit.status == ("approved" if last == "visit.approved" else "waiting")


@pytest.mark.parametrize("attempt", range(ROUNDS))
def test_it_returns_or_corrects_and_loses_neither(cast: Cast, attempt: int) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    corrected = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
    raised = at_once(
        lambda: correct_visit(
            person=cast.person("coordinator"), visit=visit, submission=corrected, reason="Notes."
        ),
        lambda: return_visit(person=cast.person("second_coordinator"), visit=visit, message="Look again."),
    )
    visit.refresh_from_db()
    assert raised == [None, None]
    assert visit.notes == "Mended."
    assert visit.status == ("returned" if verbs(visit)[-1] == "visit.returned" else "waiting")


@pytest.mark.parametrize("attempt", range(ROUNDS))
def test_it_mends_a_returned_visit_once(cast: Cast, attempt: int) -> None:
    """A double click sends the mended form twice; the second one finds nothing to mend."""
    visit = submit(cast.person("volunteer"), cast.site)
    return_visit(person=cast.person("coordinator"), visit=visit, message="Look again.")
    mended = submission_for(cast.site, id=str(visit.pk), notes="Looked.")

    def mend() -> Visit:
        return mend_visit(person=cast.person("volunteer"), visit=visit, submission=mended)

    raised = at_once(mend, mend)
    assert sorted(type(error) is NotPossible for error in raised) == [False, True]
    assert verbs(visit) == ["visit.returned", "visit.mended"]
    assert visit.counts.count() == 7


def test_it_decides_a_finding_of_a_visit_that_is_being_approved_before_or_not_at_all(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, water_level="spate")
    finding = visit.findings.get()
    one, other = cast.person("coordinator"), cast.person("second_coordinator")
    raised = at_once(
        lambda: approve_visit(person=one, visit=visit, accept_findings_reason="Seen."),
        lambda: decide_finding(person=other, finding=finding, decision="accepted", reason="Known."),
    )
    finding.refresh_from_db()
    visit.refresh_from_db()
    assert raised[0] is None
    assert visit.status == "approved"
    assert finding.decision_reason == ("Seen." if raised[1] else "Known.")


@pytest.mark.parametrize("attempt", range(ROUNDS))
def test_an_autosave_that_crosses_the_submission_leaves_the_visit_alone(cast: Cast, attempt: int) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    submission = submission_for(cast.site, id=str(draft.pk))
    raised = at_once(
        lambda: submit_visit(person=person, submission=submission),
        lambda: save_draft(person=person, site=cast.site, number=draft.pk, data={"notes": "late"}),
    )
    assert raised[0] is None
    assert raised[1] is None or isinstance(raised[1], NotPossible)
    assert Visit.objects.of_group(cast.group).get().counts.count() == 7
    assert not Draft.objects.of_group(cast.group).exists()


@pytest.mark.parametrize("attempt", range(ROUNDS))
def test_a_discard_that_crosses_the_submission_never_takes_the_visit(cast: Cast, attempt: int) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    submission = submission_for(cast.site, id=str(draft.pk))
    add_photo(person=person, group=cast.group, visit_number=draft.pk, upload=picture())
    raised = at_once(
        lambda: submit_visit(person=person, submission=submission),
        lambda: discard_draft(person=person, draft=draft),
    )
    assert raised[0] is None
    visit = Visit.objects.of_group(cast.group).get()
    # Whichever came first: pictures of a visit that came in before are never thrown away.
    assert photos_of(visit).count() == isinstance(raised[1], NotPossible)
    assert visit.scores.filter(index="bmwp").count() == 1
    assert not Draft.objects.of_group(cast.group).exists()


def test_a_discard_held_up_by_the_submission_leaves_its_pictures(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    add_photo(person=person, group=cast.group, visit_number=draft.pk, upload=picture())
    submission = submission_for(cast.site, id=str(draft.pk))
    inside, go_on = Event(), Event()

    def tell_slowly(*args: Any) -> None:
        inside.set()
        go_on.wait(PATIENCE)

    monkeypatch.setattr("surveys.services.taking_in.tell_of_new", tell_slowly)
    with in_thread(lambda: submit_visit(person=person, submission=submission)) as sent:
        assert inside.wait(PATIENCE)
        with in_thread(lambda: discard_draft(person=person, draft=draft)) as discarded:
            with pytest.raises(TimeoutError):
                discarded.result(timeout=0.3)
            go_on.set()
    assert isinstance(discarded.exception(), NotPossible)
    assert photos_of(sent.result().visit).count() == 1


def test_it_tells_on_the_page_that_the_draft_is_a_visit_by_now(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)

    def find_then_submit(*args: Any) -> Draft:
        found = find_draft(*args)
        submit(person, cast.site, id=str(draft.pk))
        return found

    monkeypatch.setattr("surveys.views.drafts.find_draft", find_then_submit)
    place = address("draft_discard", cast.group, draft_id=draft.pk)
    answer = signed_in(cast.volunteer).post(place, follow=True)
    assert "This visit has been submitted already." in text_of(answer)
    assert Visit.objects.of_group(cast.group).filter(pk=draft.pk).exists()


def test_two_discards_at_once_write_one_line_of_history(cast: Cast) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    number = draft.pk
    twin = Draft.objects.of_group(cast.group).get()
    raised = at_once(
        lambda: discard_draft(person=person, draft=draft), lambda: discard_draft(person=person, draft=twin)
    )
    assert raised == [None, None]
    assert not Draft.objects.of_group(cast.group).exists()
    assert [entry.verb for entry in history_of(Draft(pk=number), cast.group)] == [
        "draft.started",
        "draft.discarded",
    ]
