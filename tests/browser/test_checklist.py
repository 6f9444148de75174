"""The checklist on a phone: ticks stay for the day, and the visit form says that it was gone through."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from surveys.models import Draft, Site
from surveys.services.drafts import start_visit
from surveys.services.outings import edit_outing_rules
from tests.browser.checks import PageFor
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.processes import await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def phone(cast: Cast, page_for: PageFor) -> Page:
    """A volunteer's phone, in a group whose checklist is short."""
    lines = {"before": "Gauge read\nPartner here", "at_water": "Bed visible", "after": "Kit washed"}
    edit_outing_rules(person=cast.person("coordinator"), group=cast.group, fields=lines)
    return page_for(cast.volunteer, width=360)


def open_site(phone: Page, site: Site) -> None:
    phone.goto(reverse("bank_site", args=[site.group.slug, site.pk]))
    phone.get_by_text("Checklist: before and at the water").click()


def open_form(phone: Page, draft: Draft) -> None:
    phone.goto(reverse("visit_submit", args=[draft.group.slug, draft.pk]))


def tick(phone: Page, *items: str) -> None:
    for item in items:
        phone.get_by_label(item).check()


def await_saved(phone: Page) -> None:
    """Let the form save at once, and wait until the portal has all that was typed."""
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    number = phone.locator("#visit-form").get_attribute("data-keep")
    copy = f"localStorage.getItem('rifflebook.entry.{number}')"
    await_true(lambda: phone.evaluate(copy) is None, "the portal never had all")


def test_ticks_stay_on_the_phone_and_reach_the_form_once_all_are_made(cast: Cast, phone: Page) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    open_site(phone, cast.site)
    tick(phone, "Gauge read", "Partner here")
    expect(phone.locator("[data-checklist-count]")).to_have_text("2/3")
    open_form(phone, draft)
    done = phone.get_by_label("We went through the checklist")
    expect(done).not_to_be_checked()

    open_site(phone, cast.site)
    expect(phone.get_by_label("Gauge read")).to_be_checked()
    tick(phone, "Bed visible")
    open_form(phone, draft)
    expect(done).to_be_checked()
    expect(phone.locator("[data-checklist-told]")).to_contain_text("Ticked on this phone.")
    assert len(phone.locator("input[name=checklist_at]").input_value()) == 5


def test_ticks_of_one_site_say_nothing_of_another(cast: Cast, phone: Page) -> None:
    other = SiteFactory(group=cast.group, code="AB2")
    open_site(phone, cast.site)
    tick(phone, "Gauge read", "Partner here", "Bed visible")
    open_site(phone, other)
    expect(phone.get_by_label("Gauge read")).not_to_be_checked()
    open_form(phone, start_visit(person=cast.person("volunteer"), site=other))
    expect(phone.get_by_label("We went through the checklist")).not_to_be_checked()


def test_the_tick_may_be_taken_back_and_is_not_put_in_again(cast: Cast, phone: Page) -> None:
    open_site(phone, cast.site)
    tick(phone, "Gauge read", "Partner here", "Bed visible")
    open_form(phone, start_visit(person=cast.person("volunteer"), site=cast.site))
    done = phone.get_by_label("We went through the checklist")
    done.uncheck()
    assert phone.locator("input[name=checklist_at]").input_value() == ""
    phone.locator("#visit-form").dispatch_event("restored")
    expect(done).not_to_be_checked()
    await_saved(phone)
    phone.reload()
    expect(done).not_to_be_checked()
