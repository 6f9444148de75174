"""Junk at every form and upload of the surveys: told at the field or turned away, never a fault of ours."""

from __future__ import annotations

import string
from typing import Any

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.urls import reverse
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from surveys.forms import SiteForm
from surveys.forms.posted import PLAIN_FIELDS, SPOT_PARTS
from surveys.importing import COLUMNS
from tests.access import scene
from tests.access.test_matrix import ADDRESSES, signed_in
from tests.access.world import World, picture
from tests.chance import tries

OWN = {"visit_submit", "draft_save", "draft_discard", "photo_add", "photo_remove", "visit_mend"}


def fuzz(examples: int) -> settings:
    """The same junk every time, so that a failure is one for everybody; so many pieces in the long suite."""
    return settings(
        max_examples=tries(examples),
        deadline=None,
        derandomize=True,
        database=None,
        # The junk is short as it is; making it shorter would take minutes of page after page.
        phases=[Phase.generate],
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )


once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


NASTY = st.sampled_from(
    [
        "\x00",
        "NaN",
        "Infinity",
        "1e400",
        "-1",
        "9" * 5000,
        "²",
        "١٢",
        "<7",
        "<script>alert(1)</script>",
        "{{ 7|add:7 }}",
        "%(x)s",
        "%s",
        "\u202e",
        "\ufffe",
        "1.800.000",
        "7,4",
        "0001-01-01",
        "9999-12-31",
        "24:00",
        "../../etc",
        "'; --",
        "no",
        "on",
        "1000+",
        "10-99",
        "Baetidae",
        "00000000-0000-0000-0000-000000000000",
    ]
)
TEXTS = st.text(max_size=40) | st.text(string.digits + ".,-<:", max_size=12) | NASTY
KEYS = st.sampled_from(["1", "2", "99", "0", "-1", "1000000", "9" * 400, "²", "Baetidae", "ph", "", "-", "x-y"])
VISIT_FIELDS = st.sampled_from([*PLAIN_FIELDS, "was_made", "reason", "keep", "send", "caption"])
ROW_FIELDS = st.builds(
    lambda kind, key, part: f"{kind}-{key}-{part}",
    st.sampled_from(["spots", "measurements", "counts", "other", "whole"]),
    KEYS | st.text(max_size=8),
    st.sampled_from(
        [*SPOT_PARTS, "value", "unit", "count", "range", "none", "key", "name", "as", "number", ""]
    ),
)
VISIT_POSTS = st.dictionaries(VISIT_FIELDS | ROW_FIELDS, TEXTS, max_size=12)
SITE_FIELDS = st.sampled_from([*SiteForm.base_fields])
PLACES = st.sampled_from(["54.5, -2.5", "SD 7712 6634", "91, 0", "SD 77 66", "ZZ 99", "1e5, 2", "N 54° W 2°"])
SITE_POSTS = st.dictionaries(SITE_FIELDS, TEXTS | PLACES, max_size=18)
SMALL_POSTS = st.dictionaries(
    st.sampled_from(["message", "reason", "accept_findings_reason", "decision", "caption"]), TEXTS, max_size=4
)


def send(world: World, name: str, post: dict[str, Any]) -> Any:
    """Post to the address as whoever may, and take back whatever it changed."""
    client = signed_in(world, "volunteer" if name in OWN else "coordinator")
    # A fault of ours shall show its own lines.
    client.raise_request_exception = True
    cache.clear()
    with transaction.atomic():
        answer: Any = client.post(reverse(name, kwargs=world.arguments(name, ADDRESSES[name])), post)
        transaction.set_rollback(True)
    assert answer.status_code < 500
    return answer


@fuzz(100)
@given(post=VISIT_POSTS)
def test_the_visit_form_takes_any_junk(world: World, post: dict[str, str]) -> None:
    assert send(world, "visit_submit", post).status_code in (302, 422)


@fuzz(200)
@given(post=VISIT_POSTS)
def test_the_autosave_keeps_any_junk(world: World, post: dict[str, str]) -> None:
    assert send(world, "draft_save", post).status_code == 200


@pytest.mark.parametrize("name", ["visit_mend", "visit_correct"])
@fuzz(40)
@given(post=VISIT_POSTS)
def test_revisions_take_any_junk(world: World, name: str, post: dict[str, str]) -> None:
    assert send(world, name, post).status_code in (200, 302, 422)


@pytest.mark.parametrize("name", ["site_create", "site_edit"])
@fuzz(80)
@given(post=SITE_POSTS)
def test_the_forms_of_a_site_name_what_is_wrong(world: World, name: str, post: dict[str, str]) -> None:
    answer = send(world, name, post)
    assert answer.status_code in (302, 422)
    if answer.status_code == 422:
        assert answer.context["form"].errors


BUTTONS = ("visit_approve", "visit_return", "finding_decide", "import_approve", "import_load", "draft_discard")


@pytest.mark.parametrize("name", [*BUTTONS, "visit_start", "photo_remove"])
@fuzz(30)
@given(post=SMALL_POSTS)
def test_buttons_take_any_junk(world: World, name: str, post: dict[str, str]) -> None:
    assert send(world, name, post).status_code in (302, 422)


JPEG = picture().read()
BROKEN = st.builds(
    lambda place, byte: JPEG[: place % len(JPEG)] + bytes([byte]) + JPEG[place % len(JPEG) + 1 :],
    st.integers(0, 10_000),
    st.integers(0, 255),
)
PICTURES = st.binary(max_size=300) | BROKEN | st.integers(0, len(JPEG)).map(lambda size: JPEG[:size])
# Without slashes: the test's own upload refuses those, as browsers never send them.
NAME_LETTERS = st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="/\\")
NAMES = st.text(NAME_LETTERS, max_size=20).map("f".__add__)


@fuzz(80)
@given(content=PICTURES, name=NAMES, post=SMALL_POSTS)
def test_the_picture_upload_takes_any_bytes(
    world: World, content: bytes, name: str, post: dict[str, str]
) -> None:
    upload = SimpleUploadedFile(name, content, "image/jpeg")
    answer = send(world, "photo_add", {**post, "photo": upload})
    assert answer.status_code in (302, 422)
    if not content:
        assert answer.status_code == 422


HEADS = st.sampled_from([column.name for column in COLUMNS]) | st.text(max_size=8)
CELLS = TEXTS | st.sampled_from(["AB1", "2024-05-03", "03/05/2024", "45000", "Baetidae", "12", "yes"])
SHEETS = st.builds(
    lambda heads, rows: "\n".join(",".join(row) for row in [heads, *rows]).encode(),
    st.lists(HEADS, min_size=1, max_size=8),
    st.lists(st.lists(CELLS, max_size=8), max_size=6),
)
USUAL_HEAD = b"site,date,taxon,count,visit,ph,effort\n"
LIKELY = st.lists(st.lists(CELLS, min_size=7, max_size=7), min_size=1, max_size=5).map(
    lambda rows: USUAL_HEAD + "\n".join(",".join(row) for row in rows).encode()
)
FILES = (
    SHEETS | LIKELY | st.binary(max_size=200) | st.binary(max_size=100).map(lambda junk: b"PK\x03\x04" + junk)
)
ENDINGS = st.sampled_from([".csv", ".xlsx", ".txt", ".tsv", ".exe", ""])


@fuzz(120)
@given(content=FILES, name=NAMES, ending=ENDINGS)
def test_the_import_takes_any_file(world: World, content: bytes, name: str, ending: str) -> None:
    upload = SimpleUploadedFile(f"{name.removeprefix('f') if ending else name}{ending}", content, "text/csv")
    client = signed_in(world, "coordinator")
    client.raise_request_exception = True
    place = reverse("import_visits", kwargs=world.arguments("import_visits", ADDRESSES["import_visits"]))
    with transaction.atomic():
        answer: Any = client.post(place, {"sheet": upload})
        assert answer.status_code in (302, 422)
        if answer.status_code == 302:
            assert client.get(answer.url).status_code == 200
            # A sheet whose columns are not ours goes by the page that asks what each of them means.
            if answer.url.endswith("map/"):
                assert client.post(answer.url, {}).status_code in (302, 422)
            assert client.post(f"{answer.url.removesuffix('map/')}load/").status_code in (302, 409, 422)
        transaction.set_rollback(True)
