"""Counts in a real browser: a share of the tray, what was only seen, names with a typing error."""

from __future__ import annotations

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from surveys.models import Draft, Visit
from surveys.services.drafts import start_visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import days_ago

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PHONE = 360


@pytest.fixture
def draft(cast: Cast) -> Draft:
    return start_visit(person=cast.person("volunteer"), site=cast.site)


@pytest.fixture
def page(cast: Cast, draft: Draft, page_for: PageFor) -> Page:
    opened = page_for(cast.volunteer, width=PHONE)
    opened.goto(reverse("visit_submit", kwargs={"slug": cast.group.slug, "draft_id": draft.pk}))
    opened.get_by_label("Date of the visit").fill(days_ago(1).isoformat())
    opened.get_by_label("Or the partner's name").fill("Sam Example")
    for spot in (1, 2, 3):
        opened.locator(f"[name=spots-{spot}-flow_type]").select_option("riffle")
        opened.locator(f"[name=spots-{spot}-seconds]").fill("30")
    return opened


def send(page: Page) -> None:
    page.get_by_role("button", name="Submit the visit").click()


def test_a_volunteer_records_a_share_of_the_tray(cast: Cast, draft: Draft, page: Page) -> None:
    page.get_by_label("Fraction sorted").fill("1/4")
    page.locator("[name=counts-Heptageniidae-count]").fill("9")
    page.locator("[name=counts-Baetidae-range]").select_option("seen, not counted")
    page.get_by_text("Picked out of the whole tray").click()
    page.locator("[name=whole-1-name]").fill("Perlidae")
    page.locator("[name=whole-1-count]").fill("2")
    # A row that is used makes the next one.
    expect(page.locator("[name=whole-2-name]")).to_have_value("")
    expect(page.locator("[name=other-4-name]")).to_have_count(0)
    send(page)
    expect(page.get_by_text("2 in the whole tray")).to_be_visible()
    expect(page.get_by_text("1/4 of the tray was sorted, so")).to_be_visible()
    assert_accessible(page)
    visit = Visit.objects.of_group(cast.group).get(pk=draft.pk)
    assert [each.whole_tray for each in visit.counts.all()] == [False, False, True]


def test_it_opens_the_whole_tray_at_its_mistake(page: Page) -> None:
    page.get_by_label("Fraction sorted").fill("5/4")
    page.locator("[name=counts-Heptageniidae-count]").fill("9")
    page.get_by_text("Picked out of the whole tray").click()
    page.locator("[name=whole-1-name]").fill("Perlidae")
    send(page)
    page.get_by_role("link", name="Whole tray: Perlidae").click()
    expect(page.locator("[name=whole-1-count]")).to_be_focused()
    assert_accessible(page)


def test_a_typing_error_is_asked_about_and_mended_by_one_press(cast: Cast, draft: Draft, page: Page) -> None:
    page.locator("[name=counts-Heptageniidae-count]").fill("9")
    page.locator("[name=other-1-name]").fill("Hydrobiidea")
    page.locator("[name=other-1-count]").fill("3")
    send(page)
    # Nothing was taken in, and what was typed stands as it was typed.
    assert not Visit.objects.of_group(cast.group).filter(pk=draft.pk).exists()
    name = page.locator("[name=other-1-name]")
    expect(name).to_have_value("Hydrobiidea")
    assert_accessible(page)
    page.get_by_role("button", name="Hydrobiidae", exact=True).click()
    expect(name).to_have_value("Hydrobiidae")
    expect(name).to_be_focused()
    send(page)
    expect(page.get_by_text("Thank you")).to_be_visible()
    assert Visit.objects.of_group(cast.group).get(pk=draft.pk).counts.filter(taxon="Hydrobiidae").exists()
