"""Pictures added to a visit that was sent in: on the form that mends it, and on the one that corrects it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile

from portal.audit.services import history_of
from surveys.models import Photo, Visit
from surveys.services.photos import add_photo
from surveys.services.review import return_visit
from tests.conftest import Cast
from tests.factories import data_for, submit
from tests.surveys.pages import address, picture, post_of, signed_in, text_of

FORMS = ("visit_mend", "visit_correct")


@pytest.fixture(autouse=True)
def _media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def visit(cast: Cast) -> Visit:
    """One that was returned, so that its recorder may mend it and a coordinator correct it."""
    sent = submit(cast.person("volunteer"), cast.site)
    return return_visit(person=cast.person("coordinator"), visit=sent, message="A picture, please.")


def typed(cast: Cast, **more: Any) -> dict[str, Any]:
    return post_of(data_for(cast.site, counts={"Baetidae": 77}, notes="Counted again")) | more


def send(cast: Cast, visit: Visit, form: str, post: dict[str, Any]) -> Any:
    user = cast.volunteer if form == "visit_mend" else cast.coordinator
    return signed_in(user).post(address(form, cast.group, visit_id=visit.pk), post)


def pictures(visit: Visit) -> list[Photo]:
    return list(Photo.objects.of_group(visit.group).filter(visit_number=visit.pk))


def assert_nothing_lost(answer: Any, visit: Visit) -> None:
    """What was typed stands in the form, and the visit is as it was."""
    page = answer.content.decode()
    assert "Counted again" in page
    assert 'value="77"' in page
    visit.refresh_from_db()
    assert visit.status == "returned"
    assert not visit.notes


@pytest.mark.parametrize("form", FORMS)
def test_it_adds_a_picture_and_keeps_what_is_typed(cast: Cast, visit: Visit, form: str) -> None:
    post = typed(cast, photo_add="1", photo=picture(), caption="Outfall", reason="Asked")
    answer = send(cast, visit, form, post)
    assert answer.status_code == 200
    assert [each.caption for each in pictures(visit)] == ["Outfall"]
    assert 'alt="Outfall"' in answer.content.decode()
    assert_nothing_lost(answer, visit)


def test_it_keeps_the_reason_typed_and_asks_for_none_while_pictures_are_added(cast: Cast, visit: Visit) -> None:
    post = typed(cast, photo_add="1", photo=picture(), reason="Asked the recorder")
    assert "Asked the recorder" in send(cast, visit, "visit_correct", post).content.decode()
    answer = send(cast, visit, "visit_correct", typed(cast, photo_add="1", photo=picture()))
    assert "Mistake:" not in text_of(answer)


@pytest.mark.parametrize("form", FORMS)
def test_it_says_at_the_field_what_is_wrong_with_a_picture(cast: Cast, visit: Visit, form: str) -> None:
    junk = SimpleUploadedFile("page.jpg", b"<html>", "image/jpeg")
    answer = send(cast, visit, form, typed(cast, photo_add="1", photo=junk))
    assert answer.status_code == 422
    assert "Send a JPEG, PNG or WebP picture." in text_of(answer)
    assert 'aria-describedby="photo-problem"' in answer.content.decode()
    assert_nothing_lost(answer, visit)
    assert pictures(visit) == []


@pytest.mark.parametrize("form", FORMS)
def test_it_asks_for_a_picture_where_none_was_chosen(cast: Cast, visit: Visit, form: str) -> None:
    answer = send(cast, visit, form, typed(cast, photo_add="1"))
    assert answer.status_code == 422
    assert "Choose a picture first." in text_of(answer)


@pytest.mark.parametrize("form", FORMS)
def test_it_takes_a_picture_along_that_is_sent_with_the_rest(cast: Cast, visit: Visit, form: str) -> None:
    answer = send(cast, visit, form, typed(cast, photo=picture(), reason="Asked."))
    assert answer.status_code == 302
    assert len(pictures(visit)) == 1
    visit.refresh_from_db()
    assert (visit.status, visit.notes) == ("waiting", "Counted again")


@pytest.mark.parametrize("form", FORMS)
def test_it_sends_nothing_in_while_the_picture_along_is_none(cast: Cast, visit: Visit, form: str) -> None:
    junk = SimpleUploadedFile("p.jpg", b"no picture", "image/jpeg")
    answer = send(cast, visit, form, typed(cast, photo=junk, reason="Asked."))
    assert answer.status_code == 422
    assert_nothing_lost(answer, visit)


@pytest.mark.parametrize("form", FORMS)
def test_it_removes_a_picture_and_keeps_what_is_typed(cast: Cast, visit: Visit, form: str) -> None:
    person = cast.person("volunteer")
    photo = add_photo(person=person, group=cast.group, visit_number=visit.pk, upload=picture())
    answer = send(cast, visit, form, typed(cast, photo_remove=str(photo.pk)))
    assert answer.status_code == 200
    assert pictures(visit) == []
    assert_nothing_lost(answer, visit)
    assert [entry.verb for entry in history_of(photo, cast.group)] == ["photo.added", "photo.removed"]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("number", ["", "junk", "00000000-0000-0000-0000-000000000000"])
def test_it_knows_no_picture_of_another_name(cast: Cast, visit: Visit, form: str, number: str) -> None:
    assert send(cast, visit, form, typed(cast, photo_remove=number)).status_code == 404


def test_it_removes_no_picture_of_another_visit(cast: Cast, visit: Visit) -> None:
    other = submit(cast.person("volunteer"), cast.site, visited_on="2026-01-05")
    coordinator = cast.person("coordinator")
    photo = add_photo(person=coordinator, group=cast.group, visit_number=other.pk, upload=picture())
    assert send(cast, visit, "visit_mend", typed(cast, photo_remove=str(photo.pk))).status_code == 404
    assert pictures(other) == [photo]


@pytest.mark.parametrize("form", FORMS)
def test_its_first_button_is_the_one_that_sends_the_visit(cast: Cast, visit: Visit, form: str) -> None:
    """Without scripts, Enter in a field presses the first button of the form."""
    user = cast.volunteer if form == "visit_mend" else cast.coordinator
    page = signed_in(user).get(address(form, cast.group, visit_id=visit.pk)).content.decode()
    form_part = page[page.index('id="visit-form"') :]
    first = form_part[form_part.index('type="submit"') :].split(">")[0]
    assert "photo_" not in first
    assert 'enctype="multipart/form-data"' in form_part.split(">")[0]
