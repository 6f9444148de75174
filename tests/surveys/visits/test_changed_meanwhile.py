"""A form that was opened before somebody else changed the visit does not undo that unseen."""

from __future__ import annotations

import re
from typing import Any

import pytest

from surveys.errors import ChangedMeanwhile
from surveys.models import Visit
from surveys.services.visits import correct_visit, mend_visit
from tests.conftest import Cast
from tests.factories import data_for, submission_for, submit
from tests.surveys.pages import address, post_of, signed_in, text_of

FORMS = {"visit_mend": "volunteer", "visit_correct": "coordinator"}


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site)


def put_right(cast: Cast, visit: Visit) -> None:
    """What somebody else does meanwhile."""
    right = submission_for(cast.site, id=str(visit.pk), notes="Put right.")
    correct_visit(person=cast.person("second_coordinator"), visit=visit, submission=right, reason="Photo seen.")


def shown_in(page: Any) -> str:
    found = re.search(r'name="revision" value="(\d+)"', page.content.decode())
    assert found
    return found[1]


@pytest.mark.parametrize("form", FORMS)
def test_it_keeps_what_was_typed_and_asks_to_look_first(cast: Cast, visit: Visit, form: str) -> None:
    client, here = signed_in(getattr(cast, FORMS[form])), address(form, cast.group, visit_id=visit.pk)
    typed = post_of(data_for(cast.site, notes="Typed meanwhile.")) | {"reason": "Read again."}
    typed["revision"] = shown_in(client.get(here))
    put_right(cast, visit)

    answer: Any = client.post(here, typed)
    visit.refresh_from_db()
    assert (answer.status_code, visit.notes) == (422, "Put right.")
    assert "somebody changed this visit since you opened this form" in text_of(answer)
    assert "Typed meanwhile." in answer.content.decode()

    # Whoever has been told and sends it again knows what they do.
    client.post(here, typed | {"revision": shown_in(answer)})
    visit.refresh_from_db()
    assert visit.notes == "Typed meanwhile."


@pytest.mark.parametrize("form", FORMS)
def test_a_mistake_in_between_does_not_make_it_forget(cast: Cast, visit: Visit, form: str) -> None:
    client, here = signed_in(getattr(cast, FORMS[form])), address(form, cast.group, visit_id=visit.pk)
    typed = post_of(data_for(cast.site, counts={"Baetidae": "9?"})) | {"reason": "Read again."}
    typed["revision"] = shown_in(client.get(here))
    put_right(cast, visit)
    answer = client.post(here, typed)
    assert answer.status_code == 422
    assert shown_in(answer) == typed["revision"] != str(Visit.objects.of_group(cast.group).get().revision)


@pytest.mark.parametrize("sent", ["", "newest", "1.5"])
def test_a_form_that_says_no_revision_is_taken_as_it_comes(cast: Cast, visit: Visit, sent: str) -> None:
    here = address("visit_mend", cast.group, visit_id=visit.pk)
    typed = post_of(data_for(cast.site, notes="Typed.")) | {"revision": sent}
    assert signed_in(cast.volunteer).post(here, typed).status_code == 302


def test_the_services_refuse_it_on_the_locked_row(cast: Cast, visit: Visit) -> None:
    seen = visit.revision
    put_right(cast, visit)
    mine = submission_for(cast.site, id=str(visit.pk), notes="Mine.")
    with pytest.raises(ChangedMeanwhile):
        mend_visit(person=cast.person("volunteer"), visit=visit, submission=mine, revision=seen)
    with pytest.raises(ChangedMeanwhile):
        correct_visit(
            person=cast.person("coordinator"), visit=visit, submission=mine, reason="x", revision=seen
        )
    visit.refresh_from_db()
    assert visit.notes == "Put right."
