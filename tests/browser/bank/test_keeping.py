"""Whatever is typed on the bank is on the phone a moment later and comes back after anything."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from surveys.models import RecordingList, Visit
from tests.browser.bank.steps import (
    HOME,
    assert_once,
    await_kept,
    await_state,
    fill_in,
    form_address,
    kept,
    new_number,
    open_form,
    submit,
)
from tests.browser.checks import assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

LOG = '[{"started_at": "2026-05-03T10:00:00+01:00", "seconds": 30}]'


@pytest.fixture
def number() -> str:
    return new_number()


def test_it_gives_everything_back_after_the_tab_was_closed(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    fill_in(phone)
    phone.locator("[name=counts-Caenidae-none]").check()
    phone.locator("[name=other-3-name]").fill("Hydra")
    phone.locator("[name=other-4-name]").fill("Simuliidae")
    phone.get_by_label("Notes").fill("Saw a dipper")
    await_kept(phone, number, "Saw a dipper")
    again = phone.context.new_page()
    phone.close()
    open_form(again, cast.site, number)
    expect(again.get_by_label("Notes")).to_have_value("Saw a dipper")
    expect(again.locator("[name=other-4-name]")).to_have_value("Simuliidae")
    expect(again.locator("[name=counts-Caenidae-none]")).to_be_checked()
    expect(again.locator("#effort-total")).to_have_text("90")
    assert_accessible(again)


@pytest.mark.long
def test_an_empty_form_is_no_visit_and_a_first_word_is_one(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    assert kept(phone, number) is None
    phone.get_by_label("Notes").fill("A")
    await_kept(phone, number, "A")


@pytest.mark.long
def test_a_form_without_a_number_gets_one_and_keeps_it_in_its_address(cast: Cast, phone: Page) -> None:
    phone.goto(form_address(cast.site, ""))
    expect(phone).to_have_url(re.compile(r"#[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$"))
    given = phone.url.rpartition("#")[2]
    phone.get_by_role("link", name="Notes and sending").click()
    phone.get_by_label("Notes").fill("Still the same visit")
    await_kept(phone, given, "Still the same visit")
    assert phone.url.endswith(given)


@pytest.mark.long
def test_the_list_leads_back_to_what_was_being_typed(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    phone.get_by_label("Notes").fill("Half done")
    await_kept(phone, number, "Half done")
    phone.goto(HOME)
    row = phone.locator(".phone-visit")
    expect(row).to_contain_text("being typed, on this phone only")
    assert_accessible(phone)
    row.get_by_role("link", name=str(cast.site)).click()
    expect(phone.get_by_label("Notes")).to_have_value("Half done")


def test_one_tab_at_a_time_types_into_a_visit_and_the_other_may_take_over(
    cast: Cast, phone: Page, number: str
) -> None:
    open_form(phone, cast.site, number)
    other = phone.context.new_page()
    other.goto(form_address(cast.site, number))
    expect(other.get_by_text("Open in another tab")).to_be_visible()
    expect(other.get_by_label("Notes")).to_be_hidden()
    assert_accessible(other)
    phone.get_by_label("Notes").fill("Typed in the first tab")
    other.get_by_role("button", name="Go on here instead").click()
    expect(other.get_by_label("Notes")).to_have_value("Typed in the first tab")
    expect(phone.get_by_text("Open in another tab")).to_be_visible()
    fill_in(other, "Typed in both")
    submit(other)
    await_state(other, number, "sent")
    assert_once(cast.site, number)
    assert Visit.objects.of_group(cast.group).get().notes == "Typed in both"


def test_a_visit_outlives_a_change_of_the_site_and_its_list(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    fill_in(phone)
    phone.evaluate("document.querySelector('[name=counts-Heptageniidae-key]').click()")
    write_timer_log(phone)
    phone.get_by_label("Notes").fill("Before the change")
    await_kept(phone, number, "Before the change")
    before = cast.site.recording_list
    give_other_plan(cast)
    phone.goto(HOME)
    open_form(phone, cast.site, number)
    expect(phone.locator("[name=other-1-name]")).to_have_value("Heptageniidae")
    expect(phone.locator("[name=other-1-range]")).to_have_value("10-99")
    expect(phone.locator("[name=other-1-key]")).to_be_checked()
    expect(phone.locator("[name=spots-1-timed]")).to_have_value(LOG)
    expect(phone.get_by_text("Kept from an earlier form")).to_be_visible()
    assert_accessible(phone)
    submit(phone)
    await_state(phone, number, "sent")
    assert_once(cast.site, number)
    visit = Visit.objects.of_group(cast.group).get()
    assert (visit.recording_list, visit.spots.count()) == (before, 3)


def write_timer_log(phone: Page) -> None:
    """As the kick timer does: into a field that nobody sees."""
    phone.evaluate(
        """log => {
            const field = document.querySelector("[name=spots-1-timed]");
            field.value = log;
            field.dispatchEvent(new Event("input", { bubbles: true }));
        }""",
        LOG,
    )


def give_other_plan(cast: Cast) -> None:
    """Two spots fewer, and a list of one taxon."""
    short = RecordingList.objects.create(group=cast.group, name="Short list", slug="short", level="family")
    short.taxa.create(taxon="Baetidae", position=1)
    cast.site.recording_list = short
    cast.site.spots = 1
    cast.site.save()


@pytest.mark.long
def test_changes_of_state_are_told_to_who_cannot_see_them(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    news = phone.locator("[data-visit-state] [role=status]").first
    expect(news).to_have_text("")
    phone.context.set_offline(True)
    fill_in(phone)
    submit(phone)
    expect(news).to_have_text("The visit waits on this phone and is sent by itself.")
    expect(phone.locator("[data-visit-state]")).to_be_focused()
    phone.context.set_offline(False)
    expect(news).to_have_text("The visit has arrived at the portal.")
    assert_once(cast.site, number)


def keep_the_store_busy(page: Page) -> None:
    """Hold the table of visits from another page, so that a write that has begun cannot end."""
    page.evaluate(
        """() => new Promise((resolve) => {
            const request = indexedDB.open("rifflebook-bank", 1);
            request.onsuccess = () => {
                const table = request.result.transaction("visits", "readwrite").objectStore("visits");
                const again = () => (table.count().onsuccess = again);
                again();
                resolve();
            };
        })"""
    )


def test_what_is_being_written_when_the_page_goes_is_there_again(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    phone.get_by_label("Notes").fill("First")
    await_kept(phone, number, "First")
    other = phone.context.new_page()
    other.goto("/health/")
    keep_the_store_busy(other)
    phone.get_by_label("Notes").fill("First, and more")
    # Longer than the moment after which it is written down.
    phone.wait_for_timeout(1000)
    phone.goto("/health/")
    other.close()
    open_form(phone, cast.site, number)
    expect(phone.get_by_label("Notes")).to_have_value("First, and more")
