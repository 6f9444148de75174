"""The bank pages as an app: what a phone needs to install it, and what its worker keeps."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import resolve
from PIL import Image

from surveys.offline import release as releases
from surveys.offline.icons import ICONS, icon_png
from surveys.offline.manifest import colours
from surveys.offline.release import release, static_names


@pytest.fixture
def manifest() -> dict[str, Any]:
    found: dict[str, Any] = Client().get("/bank/manifest.webmanifest").json()
    return found


@pytest.fixture
def worker() -> str:
    return Client().get("/bank/worker.js").content.decode()


def setup_in(worker: str) -> dict[str, Any]:
    found = re.match(r"self\.bankSetup = (.*);\n", worker)
    assert found
    setup: dict[str, Any] = json.loads(found[1])
    return setup


# -- the manifest: what browsers ask for before they offer to install (W3C Web Application Manifest)


def test_it_has_what_a_browser_asks_for_before_it_offers_to_install(manifest: dict[str, Any]) -> None:
    assert manifest["name"]
    assert manifest["display"] == "standalone"
    assert manifest["start_url"].startswith(manifest["scope"])
    plain = {each["sizes"] for each in manifest["icons"] if each["purpose"] == "any"}
    assert {"192x192", "512x512"} <= plain
    assert any(each["purpose"] == "maskable" for each in manifest["icons"])


def test_its_icons_are_pictures_of_the_size_it_says(manifest: dict[str, Any]) -> None:
    for each in manifest["icons"]:
        answer = Client().get(each["src"])
        picture = Image.open(io.BytesIO(answer.content))
        assert (answer["Content-Type"], f"{picture.width}x{picture.height}") == (each["type"], each["sizes"])


def test_its_ways_lead_somewhere(manifest: dict[str, Any]) -> None:
    names = [resolve(each["url"]).url_name for each in manifest["shortcuts"]]
    assert names == ["bank_home", "bank_timer", "bank_key"]
    assert all(each["name"] for each in manifest["shortcuts"])


def test_its_colours_are_those_of_the_tokens(manifest: dict[str, Any]) -> None:
    tokens = Path(settings.BASE_DIR, "portal/static/css/tokens.css").read_text()
    assert f"--deep: {manifest['theme_color']};" in tokens
    assert f"--paper: {manifest['background_color']};" in tokens
    page = Client().get("/bank/offline/").content.decode()
    assert f'<meta name="theme-color" content="{manifest["theme_color"]}">' in page


def test_it_takes_the_light_colour_of_two() -> None:
    assert colours()["paper"] == "#f3f6f3"


def test_every_page_names_the_manifest_and_an_icon_for_the_home_screen() -> None:
    page = Client().get("/bank/offline/").content.decode()
    assert '<link rel="manifest" href="/bank/manifest.webmanifest">' in page
    touch = re.search(r'<link rel="apple-touch-icon" href="([^"]+)">', page)
    assert touch
    assert Client().get(touch[1])["Content-Type"] == "image/png"


# -- icons


def corner_and_frame(name: str) -> tuple[Any, set[Any]]:
    """The colour of the corner, and those of a line across and one down at a tenth of the width."""
    picture = Image.open(io.BytesIO(icon_png(name))).convert("RGB")
    edge = picture.width // 10
    frame = [*((x, edge) for x in range(picture.width)), *((edge, y) for y in range(picture.height))]
    return picture.getpixel((0, 0)), {picture.getpixel(place) for place in frame}


@pytest.mark.parametrize("name", [name for name, icon in ICONS.items() if icon.is_maskable])
def test_a_maskable_icon_fills_its_square_and_keeps_its_drawing_to_the_middle(name: str) -> None:
    """Its safe zone is a circle of two fifths of its width (W3C Web Application Manifest, icon masks)."""
    corner, frame = corner_and_frame(name)
    assert frame == {corner} == {(6, 48, 58)}


def test_a_plain_icon_has_round_corners() -> None:
    corner, _frame = corner_and_frame("192")
    assert corner != (6, 48, 58)


def test_there_is_no_icon_of_another_name() -> None:
    assert Client().get("/bank/icons/64.png").status_code == 404


# -- the worker


def test_the_worker_may_own_everything_under_its_folder() -> None:
    answer = Client().get("/bank/worker.js")
    assert answer["Content-Type"].startswith("text/javascript")
    # Asked for again at each update: a browser must not take a kept one for the new one.
    assert "no-cache" in answer["Cache-Control"]


def test_the_worker_is_made_of_scripts_that_are_there(worker: str) -> None:
    scripts = re.findall(r'"(/static/js/bank/[\w-]+\.js)"', worker.partition("importScripts")[2])
    assert [each.rpartition("/")[2] for each in scripts] == ["store.js", "send.js", "worker.js"]
    assert all(finders.find(each.removeprefix("/static/")) for each in scripts)
    assert set(scripts) <= set(setup_in(worker)["files"])


def test_the_worker_changes_with_the_release(worker: str) -> None:
    assert setup_in(worker)["release"] == release()


def test_the_worker_keeps_every_file_that_its_pages_name(worker: str) -> None:
    files = set(setup_in(worker)["files"])
    for template in Path(settings.BASE_DIR, "templates").glob("bank/*.html"):
        named = set(re.findall(r"{% static '([^']+)' %}", template.read_text()))
        assert {f"/static/{name}" for name in named} <= files, template.name


def imports_of(name: str) -> Iterator[str]:
    text = Path(settings.BASE_DIR, "portal/static", name).read_text()
    for found in re.findall(r'^import .*?"(\.[^"]+)";|^} from "(\.[^"]+)";', text, re.MULTILINE):
        path = Path(settings.BASE_DIR, "portal/static", name).parent / next(filter(None, found))
        yield path.resolve().relative_to(Path(settings.BASE_DIR, "portal/static").resolve()).as_posix()


def test_the_worker_keeps_what_its_scripts_import() -> None:
    kept = set(static_names())
    scripts = [name for name in kept if name.endswith(".js")]
    imported = {each for name in scripts for each in imports_of(name)}
    assert "js/form-entries.js" in imported
    assert imported <= kept


def test_the_worker_keeps_no_file_of_the_desk() -> None:
    assert not {"css/report.css", "css/desk.css", "js/draft-keeper.js"} & set(static_names())


# -- the release


@pytest.fixture
def folder(tmp_path: Path, settings: Any) -> Iterator[Path]:
    settings.BASE_DIR = tmp_path
    (tmp_path / "templates").mkdir()
    (tmp_path / "templates" / "page.html").write_text("<p>")
    release.cache_clear()
    yield tmp_path
    release.cache_clear()


@pytest.mark.parametrize("name", ["templates/other.html", "surveys/views.py", "portal/static/js/a.js"])
def test_a_release_changes_with_every_file(folder: Path, name: str) -> None:
    before = release()
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text("new")
    release.cache_clear()
    assert release() != before


def test_a_release_is_worked_out_once_and_is_the_same_everywhere(folder: Path) -> None:
    first = release()
    (folder / "templates" / "page.html").write_text("<p>changed")
    assert release() == first
    (folder / "templates" / "page.html").write_text("<p>")
    release.cache_clear()
    assert release() == first


def test_a_release_does_not_change_with_what_pages_are_not_made_of(folder: Path) -> None:
    before = release()
    (folder / "templates" / "note.txt").write_text("x")
    (folder / "var").mkdir()
    (folder / "var" / "a.py").write_text("x")
    release.cache_clear()
    assert release() == before


def test_the_release_covers_the_files_of_the_project() -> None:
    found = {path.relative_to(settings.BASE_DIR).as_posix() for path in releases._sources()}
    assert {"templates/bank/bank_visit.html", "surveys/forms/visit.py", "portal/static/css/bank.css"} <= found
