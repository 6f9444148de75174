"""The browser fixtures themselves: they must see what is wrong, or every test above them is blind."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.browser.checks import NARROW, WIDE, PageFor, assert_accessible
from tests.chance import drawn

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SOUND = (
    "<!doctype html><html lang='en'><head><title>Sound</title></head>"
    "<body><main><h1>Sound</h1>{}</main></body></html>"
)


def page_with(page: Page, body: str) -> Page:
    page.set_content(SOUND.format(body))
    return page


def test_it_passes_a_sound_page(page_for: PageFor) -> None:
    assert_accessible(page_with(page_for(), "<p>All is well.</p>"))


def test_it_fails_for_a_field_without_a_label(page_for: PageFor) -> None:
    page = page_with(page_for(), "<input name='depth'>")
    with pytest.raises(AssertionError, match="label"):
        assert_accessible(page)


def test_it_fails_for_a_text_of_little_contrast_at_either_width(page_for: PageFor) -> None:
    page = page_with(page_for(), "<p style='color: #bbb'>Hardly to be read.</p>")
    for width in (NARROW, WIDE):
        with pytest.raises(AssertionError, match=f"{width} px(.|\\n)*contrast"):
            assert_accessible(page, axe_at=[width])
    assert_accessible(page, with_colors=False)


def test_it_looks_at_one_width_on_some_days_and_at_the_other_on_others() -> None:
    days = [f"2026-11-{day}" for day in range(10, 30)]
    assert {width for day in days for width in drawn((NARROW, WIDE), 1, "/methods/", day)} == {NARROW, WIDE}


def test_it_fails_for_a_page_wider_than_a_small_phone(page_for: PageFor) -> None:
    page = page_with(page_for(), "<div style='width:330px'>wide</div>")
    with pytest.raises(AssertionError, match="320 px"):
        assert_accessible(page)


def test_it_keeps_the_screen_as_it_was(page_for: PageFor) -> None:
    page = page_with(page_for(width=400), "<p>All is well.</p>")
    assert_accessible(page)
    assert page.viewport_size == {"width": 400, "height": 900}
