"""A phone that is full says so in time; text goes before pictures, and what is typed is never lost unsaid."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.bank.steps import (
    HOME,
    assert_once,
    await_kept,
    await_state,
    fill_in,
    kept,
    new_number,
    open_form,
    submit,
)
from tests.browser.bank.test_photos import add, kept_pictures, picture
from tests.browser.checks import assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def number() -> str:
    return new_number()


def allow(page: Page, size: int | None) -> None:
    """Let the browser give this portal so many bytes, or as many as it likes.

    To be called before the phone writes anything: for some seconds the browser goes by what it last measured.
    """
    if page.url == "about:blank":
        page.goto("/health/")
    devtools = page.context.new_cdp_session(page)
    origin = page.evaluate("location.origin")
    quota = {} if size is None else {"quotaSize": size}
    devtools.send("Storage.overrideQuotaForOrigin", {"origin": origin, **quota})


def fill_other_place(page: Page) -> None:
    """Take all the room of the browser's second, smaller place as well."""
    page.evaluate(
        """() => {
            for (let size = 2 ** 20; size; size = Math.floor(size / 2)) {
                try {
                    for (let n = 0; n < 99; n += 1) localStorage.setItem(`x${size}-${n}`, "x".repeat(size));
                } catch {}
            }
        }"""
    )


def test_it_says_in_time_that_little_room_is_left(cast: Cast, phone: Page) -> None:
    allow(phone, 3_000_000)
    phone.goto(HOME)
    expect(phone.get_by_text("Little room left on this phone")).to_be_visible()
    assert_accessible(phone)


def test_a_full_phone_refuses_the_picture_and_keeps_the_text(cast: Cast, phone: Page, number: str) -> None:
    allow(phone, 3_000_000)
    open_form(phone, cast.site, number)
    fill_in(phone, "Kept without its picture")
    add(phone, picture())
    expect(phone.get_by_text("This phone is too full for the picture.")).to_be_visible()
    assert_accessible(phone)
    await_kept(phone, number, "Kept without its picture")
    assert kept_pictures(phone) == []
    submit(phone)
    await_state(phone, number, "sent")
    assert_once(cast.site, number)


def test_text_is_kept_elsewhere_when_nothing_more_is_written(cast: Cast, phone: Page, number: str) -> None:
    allow(phone, 1)
    open_form(phone, cast.site, number)
    fill_in(phone, "Kept at the last moment")
    expect(phone.get_by_text("This phone is full: only text still fits")).to_be_visible()
    assert_accessible(phone)
    await_kept(phone, number, "Kept at the last moment")
    assert kept(phone, number)["isSpare"]
    phone.reload()
    expect(phone.get_by_label("Notes")).to_have_value("Kept at the last moment")
    submit(phone)
    await_state(phone, number, "sent")
    assert_once(cast.site, number)


def test_it_says_at_once_when_nothing_can_be_kept_and_goes_on_by_itself(
    cast: Cast, phone: Page, number: str
) -> None:
    allow(phone, 1)
    open_form(phone, cast.site, number)
    fill_other_place(phone)
    fill_in(phone, "On the screen only")
    expect(phone.get_by_text("Not kept: this phone is full")).to_be_visible()
    assert_accessible(phone)
    submit(phone)
    expect(phone.locator("[data-visit-state]")).to_be_focused()
    expect(phone.get_by_label("Notes")).to_have_value("On the screen only")
    assert kept(phone, number) is None
    allow(phone, None)
    await_kept(phone, number, "On the screen only")
    expect(phone.get_by_text("Not kept: this phone is full")).to_be_hidden()
    submit(phone)
    await_state(phone, number, "sent")
    assert_once(cast.site, number)
