"""Keys of programs and the page for whoever writes one."""

from __future__ import annotations

import os

import pytest
from playwright.sync_api import Page, expect

from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def look(page: Page, name: str) -> None:
    """Hold the page to axe, and keep a picture where SCREENSHOTS names a folder."""
    assert_accessible(page)
    folder = os.environ.get("SCREENSHOTS")
    for width in (360, 1280) if folder else ():
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=f"{folder}/{name}-{width}.png", full_page=True)


def test_a_key_is_made_shown_once_and_revoked(cast: Cast, page_for: PageFor) -> None:
    page = page_for(cast.volunteer)
    page.goto("/account/keys/")
    page.get_by_label("What uses it").fill("Weather station")
    page.get_by_label("read visits, their scores and verdicts").check()
    page.get_by_role("button", name="Make the key").click()
    assert page.locator("#new-key").inner_text().startswith("rfb_")
    look(page, "key_list")
    page.get_by_role("button", name="Revoke").click()
    expect(page.get_by_text("opens nothing any more")).to_be_visible()
    page.goto("/api/docs/")
    page.get_by_text("Order an export").click()
    look(page, "api_docs")
