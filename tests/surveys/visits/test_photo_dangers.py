"""Pictures that tell too much, fill the memory or run a script: made harmless, or refused."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image, PngImagePlugin

from surveys.models import Draft, Photo
from surveys.services.drafts import start_visit
from surveys.services.photos import InvalidPhoto, add_photo
from tests.conftest import Cast
from tests.surveys.pages import address, signed_in, text_of

GPS_PLACE = 0x8825
DEGREES = (54.0, 30.0, 12.5)
SECRETS = (b"Exif", b"GPS", b"Example Camera", b"secret", b"xmpmeta", b"ICC_PROFILE", b"Photoshop")


@pytest.fixture(autouse=True)
def _media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return start_visit(person=cast.person("volunteer"), site=cast.site)


def add(cast: Cast, draft: Draft, content: bytes) -> bytes:
    """What is stored of an upload."""
    person = cast.person("volunteer")
    photo = add_photo(person=person, group=cast.group, visit_number=draft.pk, upload=io.BytesIO(content))
    return Path(photo.file.path).read_bytes()


def placed() -> Image.Exif:
    """What a phone writes into a picture: the camera, and where on earth it stood."""
    exif = Image.Exif()
    exif[0x010F] = "Example Camera"
    place = exif.get_ifd(GPS_PLACE)
    place[1], place[2], place[3], place[4] = "N", DEGREES, "W", DEGREES
    return exif


def encoded(kind: str, **more: Any) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "olive").save(file, kind, **more)
    return file.getvalue()


def telling_png() -> bytes:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Comment", "secret meeting place")
    notes.add_itxt("XML:com.adobe.xmp", "<x:xmpmeta>secret</x:xmpmeta>")
    return encoded("PNG", exif=placed(), pnginfo=notes)


TELLING: dict[str, Callable[[], bytes]] = {
    "jpeg": lambda: encoded("JPEG", exif=placed(), comment=b"secret", icc_profile=b"secret profile"),
    "png": telling_png,
    "webp": lambda: encoded("WEBP", exif=placed().tobytes(), xmp=b"<x:xmpmeta>secret</x:xmpmeta>"),
}


@pytest.mark.parametrize("kind", TELLING)
def test_it_forgets_place_camera_and_comments(cast: Cast, draft: Draft, kind: str) -> None:
    sent = TELLING[kind]()
    assert Image.open(io.BytesIO(sent)).getexif().get_ifd(GPS_PLACE)[2] == DEGREES
    kept = add(cast, draft, sent)
    picture = Image.open(io.BytesIO(kept))
    assert dict(picture.getexif()) == {}
    assert picture.getexif().get_ifd(GPS_PLACE) == {}
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert not any(secret in kept for secret in SECRETS)


def test_it_forgets_what_hangs_behind_the_picture(cast: Cast, draft: Draft) -> None:
    """Some phones append a film or a second file; polyglots append a script."""
    kept = add(cast, draft, encoded("JPEG") + b"<script>secret()</script>PK\x03\x04")
    assert b"script" not in kept
    assert kept.endswith(b"\xff\xd9")


def chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def png_of(width: int, height: int, rows: int = 0) -> bytes:
    """A PNG that says it is so large; its pixels, all black, pack a thousandfold."""
    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    pixels = zlib.compress(bytes((width + 7) // 8 + 1) * rows, 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


# As in production, where a warning is only a line in the log.
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("width", "height"), [(20_000, 20_000), (60_000, 1_001), (1_000_000, 1_000_000)])
def test_it_refuses_a_bomb_before_it_goes_off(
    cast: Cast, draft: Draft, width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    unpacked: list[str] = []
    monkeypatch.setattr(PngImagePlugin.PngImageFile, "load", lambda self: unpacked.append("all of it"))
    bomb = png_of(width, height, rows=200)
    assert len(bomb) < 100_000
    with pytest.raises(InvalidPhoto, match="pixels"):
        add(cast, draft, bomb)
    assert unpacked == []


def test_it_takes_a_picture_that_is_only_long(cast: Cast, draft: Draft) -> None:
    kept = Image.open(io.BytesIO(add(cast, draft, png_of(30_000, 8, rows=8))))
    assert kept.size[0] == 2400
    assert kept.size[1] >= 1


NO_PICTURES = {
    "nothing": b"",
    "a page": b"<!doctype html><script>alert(1)</script>",
    "a drawing with a script": b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
    "a program": b"MZ\x90\x00" + bytes(100),
    "a paper": b"%PDF-1.7\n%%EOF",
    "a film": b"\x00\x00\x00\x18ftypmp42" + bytes(50),
    "only the first bytes of a JPEG": b"\xff\xd8\xff\xe0",
    "only the first bytes of a PNG": b"\x89PNG\r\n\x1a\n",
    "a TIFF": encoded("TIFF"),
    "a BMP": encoded("BMP"),
    "a GIF": encoded("GIF"),
}


@pytest.mark.parametrize("what", NO_PICTURES)
@pytest.mark.parametrize("called", ["photo.jpg", "photo.png"])
def test_it_goes_by_the_content_and_not_by_the_name(cast: Cast, draft: Draft, what: str, called: str) -> None:
    upload = SimpleUploadedFile(called, NO_PICTURES[what], "image/jpeg")
    place = address("photo_add", cast.group, draft_id=draft.pk)
    answer = signed_in(cast.volunteer).post(place, {"photo": upload, "visited_on": "", "notes": "kept"})
    assert answer.status_code == 422
    assert "Send a JPEG, PNG or WebP picture." in text_of(answer)
    assert not Photo.objects.of_group(cast.group).exists()
    assert Draft.objects.of_group(cast.group).get().data["notes"] == "kept"


def test_it_stores_nothing_on_disk_of_what_it_refuses(cast: Cast, draft: Draft, tmp_path: Path) -> None:
    with pytest.raises(InvalidPhoto):
        add(cast, draft, NO_PICTURES["a page"])
    assert [found for found in tmp_path.rglob("*") if found.is_file()] == []


def test_it_keeps_a_caption_without_what_no_database_holds(cast: Cast, draft: Draft) -> None:
    person = cast.person("volunteer")
    upload = io.BytesIO(encoded("JPEG"))
    photo = add_photo(
        person=person, group=cast.group, visit_number=draft.pk, upload=upload, caption=" Out\x00fall "
    )
    photo.refresh_from_db()
    assert photo.caption == "Outfall"


class TestServed:
    @pytest.fixture
    def place(self, cast: Cast, draft: Draft) -> str:
        add(cast, draft, encoded("PNG"))
        return address("photo_file", cast.group, photo_id=Photo.objects.of_group(cast.group).get().pk)

    def test_it_comes_as_what_it_is_and_can_run_nothing(self, cast: Cast, place: str) -> None:
        answer: Any = signed_in(cast.coordinator).get(place)
        assert b"".join(answer.streaming_content).startswith(b"\xff\xd8\xff")
        wanted = {
            "Content-Type": "image/jpeg",
            "Content-Disposition": "inline",
            "X-Content-Type-Options": "nosniff",
            "Content-Security-Policy": "default-src 'none'; sandbox",
            "X-Frame-Options": "DENY",
        }
        assert {name: answer[name] for name in wanted} == wanted

    def test_no_cache_on_the_way_keeps_it_for_others(self, cast: Cast, place: str) -> None:
        answer: Any = signed_in(cast.volunteer).get(place)
        assert b"".join(answer.streaming_content)
        assert "private" in answer["Cache-Control"]
        assert "public" not in answer["Cache-Control"]
        assert "Cookie" in answer["Vary"]

    @pytest.mark.parametrize("who", ["neighbour_coordinator", "neighbour_volunteer", "stranger"])
    def test_it_is_not_there_for_others(self, cast: Cast, place: str, who: str) -> None:
        assert signed_in(getattr(cast, who)).get(place).status_code == 404

    def test_it_asks_nobody_in_particular_to_sign_in(self, place: str) -> None:
        answer: Any = Client().get(place)
        assert answer.status_code == 302
        assert "/login/" in answer.url

    def test_its_file_has_no_address_of_its_own(self, cast: Cast, place: str) -> None:
        photo = Photo.objects.of_group(cast.group).get()
        for guess in (f"/media/{photo.file.name}", f"/static/{photo.file.name}", f"/{photo.file.name}"):
            assert signed_in(cast.coordinator).get(guess).status_code == 404
