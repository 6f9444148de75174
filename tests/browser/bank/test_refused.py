"""A visit that the portal does not take is kept, says why at each field, and is mended on the phone."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from surveys.models import Visit
from surveys.services.drafts import start_visit
from tests.browser.bank.steps import (
    HOME,
    assert_once,
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


@pytest.fixture
def number() -> str:
    return new_number()


@pytest.fixture
def refused(cast: Cast, phone: Page, number: str) -> Page:
    """A phone on which the portal has refused a visit with three mistakes."""
    open_form(phone, cast.site, number)
    fill_in(phone, "Not to be lost")
    phone.get_by_label("Date of the visit").fill("")
    phone.locator("[name=spots-2-seconds]").fill("a while")
    phone.get_by_text("Caddisfly larvae").click()
    phone.locator("[name=counts-Sericostomatidae-count]").fill("a few")
    submit(phone)
    expect(phone.get_by_role("heading", name="Entries that need another look: 3")).to_be_visible()
    return phone


def test_it_says_at_each_field_what_is_wrong_and_leads_there(refused: Page) -> None:
    assert_accessible(refused)
    summary = refused.locator("[data-mistakes] li a")
    in_order = ("Date of the visit", "Spot 2, Time, s", "Sericostomatidae")
    expect(summary).to_have_text([re.compile(f"^{name} – ") for name in in_order])
    summary.filter(has_text="Spot 2, Time, s").click()
    seconds = refused.locator("[name=spots-2-seconds]")
    expect(seconds).to_be_focused()
    expect(seconds).to_have_value("a while")
    expect(seconds).to_have_attribute("aria-invalid", "true")
    described = str(seconds.get_attribute("aria-describedby")).split()[-1]
    expect(refused.locator(f"[id='{described}']")).to_contain_text("Mistake:")
    expect(refused.locator("[name=counts-Sericostomatidae-count]")).to_have_attribute("aria-invalid", "true")
    expect(refused).to_have_url(re.compile(r"#[0-9a-f-]{36}$"))


def test_it_is_mended_without_a_network_and_sent_once(cast: Cast, refused: Page, number: str) -> None:
    assert not Visit.objects.of_group(cast.group).exists()
    refused.context.set_offline(True)
    fill_in(refused)
    refused.locator("[name=counts-Sericostomatidae-count]").fill("")
    submit(refused)
    expect(refused.get_by_text("Waiting to be sent")).to_be_visible()
    expect(refused.locator("[aria-invalid=true]")).to_have_count(0)
    refused.context.set_offline(False)
    expect(refused.get_by_text("The portal has this visit.")).to_be_visible()
    assert_once(cast.site, number)
    assert Visit.objects.of_group(cast.group).get().notes == "Not to be lost"


@pytest.mark.long
def test_it_is_found_in_the_list_with_its_reasons_and_mended_from_there(
    cast: Cast, refused: Page, number: str
) -> None:
    refused.goto(HOME)
    row = refused.locator(".phone-visit")
    expect(row).to_contain_text("not taken")
    expect(row).to_contain_text("Why:")
    assert_accessible(refused)
    row.get_by_role("link", name="Mend it").click()
    expect(refused.locator("[data-mistakes] li a")).to_have_count(3)
    expect(refused.get_by_label("Notes")).to_have_value("Not to be lost")
    fill_in(refused)
    refused.locator("[name=counts-Sericostomatidae-count]").fill("")
    submit(refused)
    await_state(refused, number, "sent")
    assert_once(cast.site, number)


@pytest.mark.long
def test_a_visit_under_a_number_of_somebody_else_is_sent_as_a_new_one(
    cast: Cast, phone: Page, number: str
) -> None:
    theirs = start_visit(person=cast.person("other_volunteer"), site=cast.site)
    taken = str(theirs.pk)
    open_form(phone, cast.site, taken)
    fill_in(phone, "Mine all the same")
    submit(phone)
    expect(phone.get_by_text("Not taken: its number is in use")).to_be_visible()
    assert_accessible(phone)
    expect(phone.get_by_label("Notes")).to_have_value("Mine all the same")
    phone.get_by_role("button", name="Send as a new visit").click()
    expect(phone.get_by_text("The portal has this visit.")).to_be_visible()
    fresh = phone.url.rpartition("#")[2]
    assert fresh != taken
    assert kept(phone, taken) is None
    assert_once(cast.site, fresh)


@pytest.mark.long
def test_a_member_who_left_the_group_keeps_the_visit_and_is_told_why(
    cast: Cast, phone: Page, number: str
) -> None:
    open_form(phone, cast.site, number)
    fill_in(phone, "Typed before I left")
    cast.group.memberships.filter(user=cast.volunteer).delete()
    submit(phone)
    expect(phone.locator("[data-mistakes] li")).to_contain_text("nothing here that you may see")
    assert ["notes", "Typed before I left"] in kept(phone, number)["entries"]


@pytest.mark.long
def test_what_was_thrown_away_is_gone(cast: Cast, refused: Page, number: str) -> None:
    refused.goto(HOME)
    refused.get_by_text("Throw away").click()
    refused.get_by_role("button", name="Throw it away").click()
    expect(refused.get_by_text("No visit waits here.")).to_be_visible()
    assert kept(refused, number) is None
    refused.goto(form_address(cast.site, number))
    expect(refused.get_by_label("Notes")).to_have_value("")
