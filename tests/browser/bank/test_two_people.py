"""Two people on one phone: neither sees, sends or loses what the other typed."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, Route, expect

from portal.accounts.models import User
from surveys.models import Visit
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
from tests.browser.checks import assert_accessible, session_key_for
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def change_person(phone: Page, user: User) -> None:
    """Sign out, and sign another person in on the same phone."""
    phone.context.clear_cookies()
    phone.context.add_cookies([session_cookie(phone, user)])  # type: ignore[list-item]
    phone.goto(HOME)


def session_cookie(phone: Page, user: User) -> dict[str, str]:
    """What makes a browser act for this person, everywhere on the portal."""
    place = urlsplit(phone.url)
    return {"name": "sessionid", "value": session_key_for(user), "url": f"{place.scheme}://{place.netloc}"}


@pytest.fixture
def first(cast: Cast, phone: Page) -> str:
    """The number of a visit that waits on the phone, of a person who then hands the phone on."""
    number = new_number()
    open_form(phone, cast.site, number)
    phone.context.set_offline(True)
    fill_in(phone, "Typed by the first")
    submit(phone)
    await_state(phone, number, "waiting")
    phone.close()
    return number


@pytest.fixture
def shared(cast: Cast, phone: Page, first: str) -> Page:
    """The phone in the hands of the second person, where there is a network."""
    phone.context.set_offline(False)
    again = phone.context.new_page()
    again.goto("/accounts/login/")
    change_person(again, cast.other_volunteer)
    return again


def test_the_second_sees_only_that_something_waits_and_sends_only_their_own(
    cast: Cast, shared: Page, first: str
) -> None:
    expect(shared.get_by_text("Visits of somebody else that wait on this phone:")).to_contain_text("1")
    expect(shared.locator(".phone-visit")).to_have_count(0)
    assert_accessible(shared)
    second = new_number()
    open_form(shared, cast.site, second)
    fill_in(shared, "Typed by the second")
    submit(shared)
    await_state(shared, second, "sent")
    assert kept(shared, first)["state"] == "waiting"
    assert_once(cast.site, second)
    assert Visit.objects.of_group(cast.group).get().entered_by == cast.other_volunteer


@pytest.mark.long
def test_what_the_first_left_waiting_goes_when_they_sign_in_again(cast: Cast, shared: Page, first: str) -> None:
    change_person(shared, cast.volunteer)
    await_state(shared, first, "sent")
    assert_once(cast.site, first)
    visit = Visit.objects.of_group(cast.group).get()
    assert (visit.entered_by, visit.notes) == (cast.volunteer, "Typed by the first")


@pytest.mark.long
def test_the_second_cannot_open_what_the_first_typed(cast: Cast, shared: Page, first: str) -> None:
    shared.goto(form_address(cast.site, first))
    expect(shared.get_by_text("A visit of somebody else")).to_be_visible()
    expect(shared.get_by_label("Notes")).to_be_hidden()
    expect(shared.get_by_label("Notes")).to_have_value("")


def test_nothing_goes_under_the_name_of_who_signed_in_just_before_it_was_sent(cast: Cast, phone: Page) -> None:
    number = new_number()
    open_form(phone, cast.site, number)
    fill_in(phone)
    other = session_cookie(phone, cast.other_volunteer)

    def hand_over(route: Route) -> None:
        answer = route.fetch()
        phone.context.add_cookies([other])  # type: ignore[list-item]
        route.fulfill(response=answer)

    # Between the question who is signed in and the visit itself.
    phone.context.route("**/bank/state/", hand_over)
    submit(phone)
    expect(phone.get_by_text("You are signed out.")).to_be_visible()
    assert not Visit.objects.of_group(cast.group).exists()
    assert kept(phone, number)["state"] == "waiting"
