"""A day at the river: opened once at home, everything else without a network, sent at home again."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Photo
from tests.browser.bank.steps import HOME, assert_once, await_kept, await_state, fill_in, kept, submit
from tests.browser.bank.test_photos import add, picture
from tests.browser.checks import assert_accessible
from tests.conftest import Cast
from tests.processes import await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def start_visit(phone: Page, cast: Cast) -> str:
    """From the start page to the form; the number of the visit."""
    phone.get_by_role("link", name=str(cast.site)).first.click()
    phone.get_by_role("link", name="Start a visit").click()
    phone.get_by_role("button", name="We have read this and go on").click()
    expect(phone.get_by_role("heading", name=f"Visit to {cast.site}")).to_be_visible()
    return phone.url.rpartition("#")[2]


def test_a_visit_from_home_to_the_river_and_back(cast: Cast, ready_phone: Page) -> None:
    context = ready_phone.context
    ready_phone.close()
    context.set_offline(True)
    phone = context.new_page()
    phone.goto(HOME)
    number = start_visit(phone, cast)
    fill_in(phone, "Typed at the river")
    add(phone, picture())
    expect(phone.locator("[data-photo-list] img")).to_have_count(1)
    await_kept(phone, number, "Typed at the river")
    phone.close()
    again = context.new_page()
    again.goto(HOME)
    again.locator("[data-phone-list]").get_by_role("link", name=str(cast.site)).click()
    expect(again.get_by_label("Notes")).to_have_value("Typed at the river")
    expect(again.locator("[data-photo-list] img")).to_have_count(1)
    submit(again)
    expect(again.get_by_text("Waiting to be sent")).to_be_visible()
    again.goto(HOME)
    expect(again.get_by_text("waiting, on this phone only")).to_be_visible()
    assert_accessible(again)
    assert kept(again, number)["state"] == "waiting"
    context.set_offline(False)
    await_state(again, number, "sent")
    assert_once(cast.site, number)
    pictures = Photo.objects.of_group(cast.group).filter(visit_number=number)
    await_true(lambda: pictures.count() == 1, "the picture did not arrive")
