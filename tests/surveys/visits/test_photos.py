"""Photos: re-encoded, stripped of what they tell about camera and place, and only by those who may."""

from __future__ import annotations

import io
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from django.conf import LazySettings
from django.core.exceptions import PermissionDenied
from django.http import Http404
from PIL import Image

from surveys.models import Photo
from surveys.queries import photos_of
from surveys.services import photos
from surveys.services.drafts import start_visit
from surveys.services.photos import InvalidPhoto, add_photo, remove_photo
from surveys.services.visits import approve_visit, return_visit
from tests.conftest import Cast
from tests.factories import submit

GPS, ORIENTATION, MAKE = 0x8825, 0x0112, 0x010F


@pytest.fixture(autouse=True)
def _media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def picture(
    size: tuple[int, int] = (60, 40), kind: str = "JPEG", mode: str = "RGB", exif: bytes = b""
) -> io.BytesIO:
    file = io.BytesIO()
    Image.new(mode, size, "green" if mode != "P" else 3).save(file, kind, **({"exif": exif} if exif else {}))
    return io.BytesIO(file.getvalue())


def camera_notes() -> bytes:
    exif = Image.Exif()
    exif[MAKE] = "Example Camera"
    exif[ORIENTATION] = 6
    exif.get_ifd(GPS)[1] = "N"
    return exif.tobytes()


def stored(photo: Photo) -> bytes:
    return Path(photo.file.path).read_bytes()


def stored_picture(photo: Photo) -> Image.Image:
    return Image.open(io.BytesIO(stored(photo)))


def add(cast: Cast, upload: io.BytesIO, number: UUID | None = None, by: str = "volunteer") -> Photo:
    number = number or start_visit(person=cast.person("volunteer"), site=cast.site).pk
    return add_photo(
        person=cast.person(by), group=cast.group, visit_number=number, upload=upload, caption=" Riffle "
    )


def test_it_keeps_no_metadata(cast: Cast) -> None:
    assert b"Example Camera" in picture(exif=camera_notes()).getvalue()
    photo = add(cast, picture(exif=camera_notes()))
    content = stored(photo)
    assert b"Example Camera" not in content
    assert b"Exif" not in content
    assert not Image.open(io.BytesIO(content)).getexif()


def test_it_turns_the_picture_upright_first(cast: Cast) -> None:
    photo = add(cast, picture((60, 40), exif=camera_notes()))
    assert stored_picture(photo).size == (40, 60)


@pytest.mark.parametrize(
    ("kind", "mode"), [("JPEG", "RGB"), ("PNG", "RGBA"), ("PNG", "P"), ("WEBP", "RGB"), ("JPEG", "L")]
)
def test_it_takes_the_usual_kinds_and_makes_jpeg(cast: Cast, kind: str, mode: str) -> None:
    photo = add(cast, picture(kind=kind, mode=mode))
    kept = stored_picture(photo)
    assert (kept.format, kept.mode) == ("JPEG", "RGB")
    assert photo.caption == "Riffle"


def test_it_makes_large_pictures_smaller(cast: Cast) -> None:
    photo = add(cast, picture((4800, 1200)))
    assert stored_picture(photo).size == (2400, 600)


@pytest.mark.parametrize(
    "content", [b"", b"not a picture", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"GIF89a"]
)
def test_it_refuses_what_is_no_picture(cast: Cast, content: bytes) -> None:
    with pytest.raises(InvalidPhoto, match="JPEG, PNG or WebP"):
        add(cast, io.BytesIO(content))


def test_it_refuses_a_picture_cut_short(cast: Cast) -> None:
    with pytest.raises(InvalidPhoto):
        add(cast, io.BytesIO(picture((600, 400)).getvalue()[:300]))


def test_it_refuses_other_kinds_of_picture(cast: Cast) -> None:
    with pytest.raises(InvalidPhoto):
        add(cast, picture(kind="GIF", mode="P"))


def test_it_refuses_files_that_are_too_large(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "LARGEST_BYTES", 100)
    with pytest.raises(InvalidPhoto, match="larger than"):
        add(cast, picture())


def test_it_refuses_more_pixels_than_it_can_hold(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "LARGEST_PIXELS", 2399)
    with pytest.raises(InvalidPhoto, match="pixels"):
        add(cast, picture((60, 40)))


# As in production, where a warning is only a line in the log.
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("limit", [2000, 1000])
def test_it_refuses_a_picture_that_unpacks_to_a_bomb(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, limit: int
) -> None:
    """Over the limit Pillow warns, over twice the limit it raises: both are refused."""
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", limit)
    with pytest.raises(InvalidPhoto, match="pixels"):
        add(cast, picture((60, 40)))


def test_it_takes_only_so_many_for_one_visit(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_PHOTOS", 1)
    number = start_visit(person=cast.person("volunteer"), site=cast.site).pk
    add(cast, picture(), number)
    with pytest.raises(InvalidPhoto, match="enough"):
        add(cast, picture(), number)


def test_it_takes_pictures_before_the_draft_is_saved(cast: Cast) -> None:
    number = uuid4()
    photo = add(cast, picture(), number)
    visit = submit(cast.person("volunteer"), cast.site, id=str(number))
    assert list(photos_of(visit)) == [photo]


@pytest.mark.parametrize("role", ["other_volunteer", "coordinator"])
def test_it_keeps_others_out_of_a_draft(cast: Cast, role: str) -> None:
    number = start_visit(person=cast.person("volunteer"), site=cast.site).pk
    with pytest.raises(PermissionDenied):
        add(cast, picture(), number, by=role)


def test_it_shows_nothing_to_another_group(cast: Cast) -> None:
    with pytest.raises(Http404):
        add(cast, picture(), uuid4(), by="neighbour_coordinator")


def test_it_leaves_an_approved_visits_pictures_to_coordinators(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    assert add(cast, picture(), visit.pk).added_by == cast.volunteer
    with pytest.raises(PermissionDenied):
        add(cast, picture(), visit.pk, by="other_volunteer")
    approve_visit(person=cast.person("second_coordinator"), visit=visit, accept_findings_reason="Seen.")
    with pytest.raises(PermissionDenied, match="once it is approved"):
        add(cast, picture(), visit.pk)
    assert add(cast, picture(), visit.pk, by="coordinator").visit_number == visit.pk


def test_it_leaves_taking_pictures_out_of_a_submitted_visit_to_coordinators(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    photo = add(cast, picture(), visit.pk)
    with pytest.raises(PermissionDenied):
        remove_photo(person=cast.person("volunteer"), photo=photo)
    remove_photo(person=cast.person("coordinator"), photo=photo)


def test_it_lets_the_recorder_add_pictures_to_a_returned_visit(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    return_visit(person=cast.person("coordinator"), visit=visit, message="A photo, please.")
    assert add(cast, picture(), visit.pk).added_by == cast.volunteer
    with pytest.raises(PermissionDenied):
        add(cast, picture(), visit.pk, by="other_volunteer")


@pytest.mark.django_db(transaction=True)
def test_it_removes_the_file_with_the_row(cast: Cast, tmp_path: Path) -> None:
    photo = add(cast, picture())
    place = tmp_path / str(photo.file.name)
    assert place.exists()
    remove_photo(person=cast.person("volunteer"), photo=photo)
    assert not place.exists()
    assert not Photo.objects.of_group(cast.group).exists()


def test_it_keeps_the_file_until_the_commit(cast: Cast, tmp_path: Path) -> None:
    """A test's own transaction never commits, so the file must still be there."""
    photo = add(cast, picture())
    remove_photo(person=cast.person("volunteer"), photo=photo)
    assert (tmp_path / str(photo.file.name)).exists()


def test_it_gives_files_names_that_tell_nothing(cast: Cast) -> None:
    first, second = add(cast, picture()), add(cast, picture())
    assert first.file.name != second.file.name
    assert UUID(Path(str(first.file.name)).stem.split("_")[0])
