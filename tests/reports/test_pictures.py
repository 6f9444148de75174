"""The picture on the cover: encoded anew, described, kept while a report stands on it."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.audit.services import history_of
from portal.reports.models import GroupPicture
from portal.reports.queries import picture_of
from portal.reports.services import make_report, request_report, set_picture
from tests.reports.conftest import YEAR, YearBook
from tests.reports.test_pages import as_user, text

SECRET = b"Made at 54.5 N by Vera"


def upload(size: tuple[int, int] = (2400, 1200)) -> SimpleUploadedFile:
    """A photo with something of the camera's in it."""
    file, exif = io.BytesIO(), Image.Exif()
    exif[0x010E] = SECRET.decode()
    Image.new("RGB", size, "teal").save(file, "JPEG", exif=exif)
    return SimpleUploadedFile("vera-at-home.jpg", file.getvalue(), content_type="image/jpeg")


@pytest.fixture
def page() -> str:
    return reverse("report_picture", args=["alder-beck"])


def kept(book: YearBook) -> GroupPicture:
    picture = picture_of(book.group)
    assert picture is not None
    return picture


def test_it_is_kept_without_what_the_camera_noted(book: YearBook, page: str) -> None:
    sent = upload()
    assert SECRET in sent.read()
    sent.seek(0)
    answer = as_user(book.cast.coordinator).post(
        page, {"file": sent, "alt": "A riffle.", "people": "nobody", "credit": "Vera"}
    )
    assert answer.status_code == 302
    content = Path(kept(book).file.path).read_bytes()
    assert SECRET not in content
    assert Image.open(io.BytesIO(content)).size == (1800, 900)
    assert "vera" not in str(kept(book).file.name)
    assert [entry.verb for entry in history_of(kept(book), book.group)] == ["picture.set"]


@pytest.mark.parametrize(
    ("data", "field", "words"),
    [
        ({"alt": ""}, "id_alt", "Fill this in."),
        ({"alt": "Two people.", "people": ""}, "id_people_0", "Choose one of the answers offered."),
        (
            {"alt": "A riffle.", "file": SimpleUploadedFile("a.jpg", b"no picture")},
            "id_file",
            "no photo we can read",
        ),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_words_stay(
    book: YearBook, page: str, data: dict[str, object], field: str, words: str
) -> None:
    sent = {"file": upload(), "credit": "Vera of the beck", "people": "nobody", **data}
    answer = as_user(book.cast.coordinator).post(page, sent)
    assert answer.status_code == 422
    assert words in text(answer)
    assert f'href="#{field}"' in text(answer)
    assert "Vera of the beck" in text(answer)
    assert picture_of(book.group) is None


def test_without_a_file_only_the_words_change(book: YearBook, page: str) -> None:
    client = as_user(book.cast.coordinator)
    client.post(page, {"file": upload(), "alt": "A riffle.", "people": "nobody"})
    before = kept(book).file.name
    client.post(page, {"alt": "A riffle in spring.", "people": "agreed", "credit": ""})
    assert (kept(book).file.name, kept(book).alt) == (before, "A riffle in spring.")


def test_a_picture_goes_with_its_file_unless_a_report_shows_it(
    book: YearBook, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    person = book.cast.person("coordinator")
    book.visit(date(YEAR, 3, 10))
    paths = []
    for alt in ("First.", "Second.", "Third."):
        with django_capture_on_commit_callbacks(execute=True):
            words = {"alt": alt, "people": "nobody"}
            made = set_picture(person=person, group=book.group, upload=upload(), **words)
            paths.append(Path(made.file.path))
        if alt == "Second.":
            make_report(request_report(person=person, group=book.group, year=YEAR).pk)
    assert [path.exists() for path in paths] == [False, True, True]
    assert kept(book).alt == "Third."


def test_it_can_be_taken_off_by_a_coordinator_only(book: YearBook, page: str) -> None:
    coordinator = book.cast.person("coordinator")
    set_picture(person=coordinator, group=book.group, upload=upload(), alt="A riffle.", people="nobody")
    with pytest.raises(PermissionDenied):
        set_picture(
            person=book.cast.person("volunteer"),
            group=book.group,
            upload=upload(),
            alt="Mine.",
            people="nobody",
        )
    remove = reverse("report_picture_remove", args=["alder-beck"])
    assert as_user(book.cast.volunteer).post(remove).status_code == 403
    assert as_user(book.cast.coordinator).post(remove).status_code == 302
    assert picture_of(book.group) is None
    assert Client().get(reverse("report_picture_file", args=["alder-beck"])).status_code == 302


def test_a_picture_is_printed_only_where_it_was_said_whether_people_agreed(book: YearBook) -> None:
    book.visit(date(YEAR, 3, 10))
    person = book.cast.person("coordinator")
    made = set_picture(person=person, group=book.group, upload=upload(), alt="Two people.", people="agreed")
    assert request_report(person=person, group=book.group, year=YEAR).picture == made
    # As pictures were kept before this was asked.
    GroupPicture.objects.of_group(book.group).update(people="")
    assert request_report(person=person, group=book.group, year=YEAR).picture is None
