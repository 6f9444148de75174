"""Whatever is typed on the bank is on the phone a moment later and comes back after anything."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.bank.steps import PHONE, await_kept, fill_in, kept, new_number, open_form
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def page(cast: Cast, page_for: PageFor) -> Page:
    return page_for(cast.volunteer, width=PHONE)


def test_it_gives_everything_back_after_the_tab_was_killed(cast: Cast, page: Page) -> None:
    number = new_number()
    open_form(page, cast.site, number)
    fill_in(page)
    page.locator("[name=counts-Caenidae-none]").check()
    page.locator("[name=other-3-name]").fill("Hydra")
    page.locator("[name=other-4-name]").fill("Simuliidae")
    page.get_by_label("Notes").fill("Saw a dipper")
    await_kept(page, number, "Saw a dipper")
    context = page.context
    page.close()
    again = context.new_page()
    open_form(again, cast.site, number)
    expect(again.get_by_label("Notes")).to_have_value("Saw a dipper")
    expect(again.locator("[name=other-4-name]")).to_have_value("Simuliidae")
    expect(again.locator("[name=counts-Caenidae-none]")).to_be_checked()
    expect(again.locator("#effort-total")).to_have_text("90")
    assert_accessible(again)
    print(kept(again, number))
