"""Pictures that a phone sends after the visit: each once, by whoever submitted it, until it is approved."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from surveys.models import Photo, Visit
from surveys.models.visits import Status
from surveys.services.photos import MOST_PHOTOS, add_photo
from surveys.services.review import approve_visit, return_visit
from tests.access.world import picture
from tests.conftest import Cast
from tests.factories import submit
from tests.surveys.api.conftest import ClientOf, address


@pytest.fixture(autouse=True)
def _own_folder(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site)


def put(client: Any, visit: Visit, number: UUID | None = None, **fields: Any) -> Any:
    body = encode_multipart(BOUNDARY, {"photo": picture(), "caption": "Upstream"} | fields)
    url = address("visits", visit.pk, "photos", number or uuid4())
    return client.put(url, body, content_type=MULTIPART_CONTENT)


def photos(visit: Visit) -> list[Photo]:
    return list(Photo.objects.filter(group=visit.group_id, visit_number=visit.pk))


def test_it_keeps_a_picture_under_the_number_it_came_with(
    cast: Cast, client_of: ClientOf, visit: Visit
) -> None:
    number = uuid4()
    answer = put(client_of("volunteer"), visit, number)
    assert answer.status_code == 201, answer.json()
    (photo,) = photos(visit)
    assert (photo.pk, photo.caption, photo.added_by_id) == (number, "Upstream", cast.volunteer.pk)
    assert answer.json()["id"] == str(number)


def test_it_answers_a_resend_with_the_first_picture(client_of: ClientOf, visit: Visit) -> None:
    client, number = client_of("volunteer"), uuid4()
    first, again = put(client, visit, number), put(client, visit, number, caption="Other")
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert len(photos(visit)) == 1


def test_it_refuses_a_number_that_is_another_visits(cast: Cast, client_of: ClientOf, visit: Visit) -> None:
    other = submit(cast.person("volunteer"), cast.site, visited_on="2024-05-01")
    number = uuid4()
    assert put(client_of("volunteer"), other, number).status_code == 201
    answer = put(client_of("volunteer"), visit, number)
    assert (answer.status_code, answer.json()["problems"][0]["rule"]) == (409, "number_taken")
    assert photos(visit) == []


def test_it_refuses_a_number_that_is_a_colleagues_picture(
    cast: Cast, client_of: ClientOf, visit: Visit
) -> None:
    number = uuid4()
    assert put(client_of("coordinator"), visit, number).status_code == 201
    assert put(client_of("volunteer"), visit, number).status_code == 409


@pytest.mark.parametrize(
    ("who", "status"),
    [
        ("volunteer", 201),
        ("coordinator", 201),
        ("other_volunteer", 403),
        ("neighbour_coordinator", 404),
        ("stranger", 404),
    ],
)
def test_it_takes_pictures_from_whoever_submitted_the_visit(
    client_of: ClientOf, visit: Visit, who: str, status: int
) -> None:
    assert put(client_of(who), visit).status_code == status
    assert len(photos(visit)) == (status == 201)


def test_it_takes_pictures_of_a_visit_that_was_returned(cast: Cast, client_of: ClientOf, visit: Visit) -> None:
    return_visit(person=cast.person("coordinator"), visit=visit, message="A picture, please.")
    assert put(client_of("volunteer"), visit).status_code == 201


def test_it_takes_none_once_the_visit_is_approved(cast: Cast, client_of: ClientOf, visit: Visit) -> None:
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen.")
    assert Visit.objects.of_group(cast.group).get().status == Status.APPROVED
    answer = put(client_of("volunteer"), visit)
    assert answer.status_code == 403
    assert "coordinator" in answer.json()["detail"]
    assert photos(visit) == []


def test_it_knows_no_pictures_of_a_visit_that_has_not_arrived(cast: Cast, client_of: ClientOf) -> None:
    assert put(client_of("volunteer"), Visit(pk=uuid4(), group=cast.group)).status_code == 404


@pytest.mark.parametrize("photo", [SimpleUploadedFile("a.jpg", b"no picture"), "text"])
def test_it_says_what_is_wrong_with_a_picture(client_of: ClientOf, visit: Visit, photo: Any) -> None:
    answer = put(client_of("volunteer"), visit, photo=photo)
    assert answer.status_code == 422
    (problem,) = answer.json()["problems"]
    assert (problem["field"], problem["control"]) == ("photo", "photo")
    assert problem["message"] == answer.json()["detail"]


def test_it_takes_as_many_as_a_visit_may_have(cast: Cast, client_of: ClientOf, visit: Visit) -> None:
    for _each in range(MOST_PHOTOS):
        add_photo(person=cast.person("volunteer"), group=cast.group, visit_number=visit.pk, upload=picture())
    answer = put(client_of("volunteer"), visit)
    assert (answer.status_code, len(photos(visit))) == (422, MOST_PHOTOS)


def test_it_cuts_a_caption_that_is_too_long(client_of: ClientOf, visit: Visit) -> None:
    assert put(client_of("volunteer"), visit, caption="x" * 400).status_code == 201
    assert photos(visit)[0].caption == "x" * 160
