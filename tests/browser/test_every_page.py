"""Every page, as everybody who may open it: axe at 320 and 1280 px, no sideways scroll, no script error."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.urls import reverse
from playwright.sync_api import Page

from tests.access.table import TABLE
from tests.access.test_matrix import ADDRESSES
from tests.access.world import World, build_world
from tests.browser.checks import PageFor, assert_accessible
from tests.chance import ALL, FEWEST, PART, drawn
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# What is read by programs, saved as a file or put into a page by its script, and so is no page to look at.
NO_PAGE = {"health", "photo_file", "alert_photo", "incident_photo", "import_template", "report_file"}
NO_PAGE |= {"job_file", "import_errors", "own_data_file"}
NO_PAGE |= {"bank_state", "bank_worker", "bank_manifest", "bank_icon", "record_sheet", "rota_calendar"}
NO_PAGE |= {"report_picture_file", "public_report_figures"}
NO_PAGE |= {"public_data_file", "public_feed", "robots", "sitemap"}
NO_PAGE |= {"public_report_file", "incident_evidence", "alert_evidence"} | {
    name for name in TABLE if "get" in TABLE[name] and (name.startswith("api_") or name.endswith("_progress"))
} - {"api_docs"}
# Seen by several roles alike; the one that sees most stands for all.
WATCHERS = ("coordinator", "volunteer", "contact", "nobody", "operator")


@pytest.fixture
def world(cast: Cast, settings: LazySettings, tmp_path: Path) -> World:
    settings.MEDIA_ROOT = tmp_path
    return build_world(cast)


def pages_of(role: str) -> list[str]:
    """Pages that this role is the first of the watchers to see, or sees differently from the first one."""
    first = {name: _first_watcher(name) for name in TABLE if "get" in TABLE[name] and name not in NO_PAGE}
    return [name for name, watcher in first.items() if watcher == role or _sees_own(name, role)]


def _first_watcher(name: str) -> str | None:
    return next((role for role in WATCHERS if TABLE[name]["get"][role] == "ok"), None)


def _sees_own(name: str, role: str) -> bool:
    # Volunteers miss buttons and contacts miss the group's frame: other pages, though at the same address.
    return role != "nobody" and TABLE[name]["get"][role] == "ok" and TABLE[name]["get"]["nobody"] != "ok"


def pages_tried_as(role: str) -> list[str]:
    """Those of which this role is the first watcher, and a part of the others by the day's lot."""
    pages = pages_of(role)
    others = [name for name in pages if _first_watcher(name) != role]
    lot = drawn(others, max(FEWEST, len(others) // PART), role)
    return [name for name in pages if name not in others or name in lot]


@pytest.mark.first
@pytest.mark.parametrize("role", WATCHERS)
def test_every_page_of_the_role_passes(world: World, page_for: PageFor, role: str) -> None:
    page = page_for(world.people[role])
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    assert [fault for name in pages_tried_as(role) if (fault := _fault(page, world, name, role))] == []
    # No page asks anybody else for anything: not for a font, a script or a map.
    own = page.url.split("/", 3)[:3]
    assert {
        url for url in asked if url.split("/", 3)[:3] != own and not url.startswith(("data:", "blob:"))
    } == set()


def _fault(page: Page, world: World, name: str, role: str) -> str:
    """What is wrong with a page, all of its folded parts opened; nothing where nothing is.

    Colors take axe two thirds of its time, and are the same to whoever sees the page.
    """
    answer: Any = page.goto(reverse(name, kwargs=world.arguments(name, ADDRESSES[name])))
    if answer.status != 200:
        return f"{name}: {answer.status}"
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    try:
        assert_accessible(page, with_colors=ALL or _first_watcher(name) == role)
    except AssertionError as found:
        return f"{name}: {found}"
    return ""


@pytest.mark.long
@pytest.mark.parametrize("role", ["coordinator", "volunteer", "contact"])
def test_no_page_grows_wide_in_german(world: World, page_for: PageFor, role: str) -> None:
    """Its words are the longest; a telephone is 320 px wide."""
    user = world.people[role]
    assert user is not None
    user.language = "de"
    user.save(update_fields=["language"])
    page = page_for(user)
    page.set_viewport_size({"width": 320, "height": 800})
    assert {name: wide for name in pages_of(role) if (wide := _width(page, world, name)) > 320} == {}


def _width(page: Page, world: World, name: str) -> int:
    page.goto(reverse(name, kwargs=world.arguments(name, ADDRESSES[name])))
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    return int(page.evaluate("document.documentElement.scrollWidth"))


def test_every_page_has_a_watcher() -> None:
    watched = {name for role in WATCHERS for name in pages_of(role)}
    hidden = {name for name, methods in TABLE.items() if set(methods.get("get", {}).values()) == {"404"}}
    pages = {name for name, methods in TABLE.items() if "get" in methods}
    assert pages - watched == NO_PAGE | hidden
