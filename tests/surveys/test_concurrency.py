"""Two at once, on real connections: nothing is taken twice and nothing is approved twice."""

from __future__ import annotations

from threading import Barrier, Event
from typing import Any

import pytest

from portal.audit.services import history_of
from surveys.errors import Conflict, NotPossible
from surveys.models import Draft, Visit
from surveys.services.drafts import save_draft, start_visit
from surveys.services.saving import check, tell, tell_of_new
from surveys.services.visits import Receipt, approve_visit, correct_visit, mend_visit, submit_visit
from tests.conftest import Cast
from tests.factories import submission_for, submit
from tests.threads import PATIENCE, in_thread, run_together

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def _meet_before_saving(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let both submissions find no earlier result before either of them is saved."""
    meeting = Barrier(2, timeout=PATIENCE)

    def check_together(*args: Any, **kwargs: Any) -> Any:
        meeting.wait()
        return check(*args, **kwargs)

    monkeypatch.setattr("surveys.services.visits.check", check_together)


@pytest.mark.usefixtures("_meet_before_saving")
def test_it_gives_both_senders_of_one_visit_the_same_visit(cast: Cast) -> None:
    person, submission = cast.person("volunteer"), submission_for(cast.site)

    def send() -> Receipt:
        return submit_visit(person=person, submission=submission)

    receipts = [each.result() for each in run_together(send, send)]
    assert sorted(receipt.is_new for receipt in receipts) == [False, True]
    assert {receipt.visit.pk for receipt in receipts} == {submission.id}
    visit = Visit.objects.of_group(cast.group).get()
    assert visit.counts.count() == 7
    assert visit.scores.filter(index="bmwp").count() == 1
    assert history_of(visit, cast.group).count() == 1


@pytest.mark.usefixtures("_meet_before_saving")
def test_it_gives_one_number_to_one_of_two_people(cast: Cast) -> None:
    submission = submission_for(cast.site)
    people = [cast.person("volunteer"), cast.person("other_volunteer")]
    done = run_together(
        *(lambda person=person: submit_visit(person=person, submission=submission) for person in people)
    )
    errors = [each.exception() for each in done]
    assert sorted(type(error) is Conflict for error in errors) == [False, True]
    assert Visit.objects.of_group(cast.group).count() == 1


def _hold_first(
    monkeypatch: pytest.MonkeyPatch, inside: Event, go_on: Event, last_step: str = "review.tell"
) -> None:
    """Stop the first caller of a service just before the commit, until `go_on`."""
    really = tell_of_new if last_step.endswith("tell_of_new") else tell

    def tell_slowly(*args: Any) -> None:
        really(*args)
        if not inside.is_set():
            inside.set()
            go_on.wait(PATIENCE)

    monkeypatch.setattr(f"surveys.services.{last_step}", tell_slowly)


def test_it_lets_only_one_of_two_reviewers_approve(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    first, second = cast.person("coordinator"), cast.person("second_coordinator")
    inside, go_on = Event(), Event()
    _hold_first(monkeypatch, inside, go_on)
    with in_thread(lambda: approve_visit(person=first, visit=visit)) as one:
        assert inside.wait(PATIENCE)
        with in_thread(lambda: approve_visit(person=second, visit=visit)) as two:
            with pytest.raises(TimeoutError):
                two.result(timeout=0.3)
            go_on.set()
    assert one.result().reviewed_by == cast.coordinator
    assert isinstance(two.exception(), NotPossible)
    assert history_of(visit, cast.group).filter(verb="visit.approved").count() == 1


def test_it_does_not_approve_what_is_being_mended(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """The approval comes after the mending began and waits for it: no clock says that it was changed since."""
    visit = submit(cast.person("volunteer"), cast.site)
    recorder, coordinator = cast.person("volunteer"), cast.person("coordinator")
    mended = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
    inside, go_on = Event(), Event()
    _hold_first(monkeypatch, inside, go_on, "visits.tell")
    with in_thread(lambda: mend_visit(person=recorder, visit=visit, submission=mended)) as mending:
        assert inside.wait(PATIENCE)
        # As it stands for whoever opens the page now.
        seen = Visit.objects.of_group(cast.group).get(pk=visit.pk).revision
        with in_thread(lambda: approve_visit(person=coordinator, visit=visit, revision=seen)) as approving:
            with pytest.raises(TimeoutError):
                approving.result(timeout=0.3)
            go_on.set()
    assert mending.result().status == "waiting"
    assert isinstance(approving.exception(), NotPossible)


def test_it_does_not_approve_what_is_being_corrected(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """The corrector becomes an author while the other one waits, so it is their correction that is approved."""
    visit = submit(cast.person("volunteer"), cast.site)
    person = cast.person("coordinator")
    corrected = submission_for(cast.site, id=str(visit.pk), notes="Mended.")
    done = run_together(
        lambda: correct_visit(person=person, visit=visit, submission=corrected, reason="Notes."),
        lambda: approve_visit(person=person, visit=visit),
    )
    visit.refresh_from_db()
    # Whichever came first, a correction is never approved by the one who made it.
    assert done[0].exception() is None
    assert visit.status == "waiting"
    assert visit.reviewed_by is None


def test_it_keeps_one_draft_when_two_windows_save_at_once(cast: Cast) -> None:
    person, number = cast.person("volunteer"), submission_for(cast.site).id

    def save(text: str) -> Draft:
        return save_draft(person=person, site=cast.site, number=number, data={"notes": text})

    done = run_together(lambda: save("one"), lambda: save("two"))
    assert [each.exception() for each in done] == [None, None]
    assert Draft.objects.of_group(cast.group).get().data["notes"] in ("one", "two")


def test_it_brings_no_draft_back_when_a_save_crosses_the_submission(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    person = cast.person("volunteer")
    draft = start_visit(person=person, site=cast.site)
    submission = submission_for(cast.site, id=str(draft.pk))
    inside, go_on = Event(), Event()
    _hold_first(monkeypatch, inside, go_on, "taking_in.tell_of_new")
    with in_thread(lambda: submit_visit(person=person, submission=submission)) as sent:
        assert inside.wait(PATIENCE)
        late: dict[str, Any] = {
            "person": person,
            "site": cast.site,
            "number": draft.pk,
            "data": {"notes": "late"},
        }
        with in_thread(lambda: save_draft(**late)) as saved:
            with pytest.raises(TimeoutError):
                saved.result(timeout=0.3)
            go_on.set()
    assert sent.result().is_new
    assert isinstance(saved.exception(), NotPossible)
    assert not Draft.objects.of_group(cast.group).exists()


def test_it_corrects_on_top_of_a_correction_that_came_first(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second corrector starts from what the first one left, never from stale values."""
    visit = submit(cast.person("volunteer"), cast.site)
    same = submission_for(cast.site, id=str(visit.pk), notes="Same words.")
    inside, go_on = Event(), Event()
    _hold_first(monkeypatch, inside, go_on, "visits.tell")

    def correct(role: str) -> Visit:
        return correct_visit(person=cast.person(role), visit=visit, submission=same, reason="Notes.")

    with in_thread(lambda: correct("coordinator")) as one:
        assert inside.wait(PATIENCE)
        with in_thread(lambda: correct("second_coordinator")) as two:
            with pytest.raises(TimeoutError):
                two.result(timeout=0.3)
            go_on.set()
    assert one.exception() is None
    assert isinstance(two.exception(), NotPossible)
    assert history_of(visit, cast.group).filter(verb="visit.corrected").count() == 1
