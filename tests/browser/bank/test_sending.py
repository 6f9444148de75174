"""A visit typed on the bank arrives once: without a network, twice at once, after a lost answer, signed out."""

from __future__ import annotations

import re
import time

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, Route, expect

from surveys.models import Visit
from tests.browser.bank.steps import (
    HOME,
    assert_once,
    await_in,
    await_kept,
    await_state,
    fill_in,
    kept,
    new_number,
    open_form,
    submit,
)
from tests.browser.checks import assert_accessible
from tests.conftest import Cast
from tests.processes import await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def number() -> str:
    return new_number()


def queue_without_network(phone: Page, cast: Cast, number: str, note: str = "") -> None:
    """Type a visit where there is no network and press the button."""
    open_form(phone, cast.site, number)
    phone.context.set_offline(True)
    fill_in(phone, note)
    submit(phone)
    expect(phone.get_by_text("Waiting to be sent")).to_be_visible()


@pytest.mark.long
def test_it_sends_at_once_where_there_is_a_network(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    fill_in(phone)
    submit(phone)
    expect(phone.get_by_text("The portal has this visit.")).to_be_visible()
    assert_once(cast.site, number)
    assert_accessible(phone)
    phone.get_by_role("link", name="See the visit and what it meant").click()
    expect(phone).to_have_url(re.compile(f"/visits/{number}/"))


def test_it_waits_without_a_network_and_goes_by_itself(cast: Cast, phone: Page, number: str) -> None:
    queue_without_network(phone, cast, number)
    expect(phone.get_by_label("Notes")).to_be_disabled()
    assert_accessible(phone)
    assert not Visit.objects.of_group(cast.group).exists()
    phone.context.set_offline(False)
    expect(phone.get_by_text("The portal has this visit.")).to_be_visible()
    assert_once(cast.site, number)


@pytest.mark.long
def test_a_waiting_visit_can_be_taken_back_and_changed(cast: Cast, phone: Page, number: str) -> None:
    queue_without_network(phone, cast, number)
    phone.get_by_role("button", name="Not yet: change it first").click()
    phone.get_by_label("Notes").fill("Changed my mind")
    submit(phone)
    phone.context.set_offline(False)
    await_state(phone, number, "sent")
    assert_once(cast.site, number)
    assert Visit.objects.of_group(cast.group).get().notes == "Changed my mind"


@pytest.mark.long
def test_what_waits_goes_at_the_next_opening_of_any_page(cast: Cast, phone: Page, number: str) -> None:
    queue_without_network(phone, cast, number)
    context = phone.context
    phone.close()
    context.set_offline(False)
    again = context.new_page()
    again.goto(HOME)
    await_state(again, number, "sent")
    expect(again.get_by_text("arrived", exact=True)).to_be_visible()
    assert_accessible(again)
    assert_once(cast.site, number)


def test_two_tabs_that_send_at_once_send_one_visit(cast: Cast, phone: Page, number: str) -> None:
    queue_without_network(phone, cast, number)
    sent: list[str] = []
    phone.context.on("request", lambda request: sent.append(request.method))
    phone.context.set_offline(False)
    tabs = [phone.context.new_page() for _ in range(2)]
    for tab in tabs:
        tab.goto(HOME)
    for tab in tabs:
        tab.evaluate("phoneSender.sendAll()")
    await_state(phone, number, "sent")
    assert sent.count("PUT") == 1
    assert_once(cast.site, number)


def test_it_sends_again_after_a_lost_answer_and_is_answered_as_before(
    cast: Cast, phone: Page, number: str
) -> None:
    line = BrokenLine(phone)
    open_form(phone, cast.site, number)
    fill_in(phone)
    submit(phone)
    expect(phone.get_by_text("The portal was not reached yet.")).to_be_visible()
    assert_once(cast.site, number)
    line.mend()
    expect(phone.get_by_text("The portal has this visit.")).to_be_visible()
    assert line.answers == [201, 200]
    assert_once(cast.site, number)


@pytest.mark.long
def test_it_says_when_the_portal_may_hold_an_earlier_text(cast: Cast, phone: Page, number: str) -> None:
    line = BrokenLine(phone)
    open_form(phone, cast.site, number)
    fill_in(phone, "First text")
    submit(phone)
    expect(phone.get_by_text("The portal was not reached yet.")).to_be_visible()
    phone.get_by_role("button", name="Not yet: change it first").click()
    phone.get_by_label("Notes").fill("Second text")
    submit(phone)
    line.mend()
    expect(phone.get_by_text("the portal holds the first text")).to_be_visible()
    expect(phone.get_by_label("Notes")).to_have_value("Second text")
    assert_once(cast.site, number)
    assert Visit.objects.of_group(cast.group).get().notes == "First text"


class BrokenLine:
    """Carries the first visit and breaks before its answer; carries nothing more until it is mended."""

    def __init__(self, phone: Page) -> None:
        self.answers: list[int] = []
        self._phone = phone
        self._is_mended = False
        phone.context.route("**/api/v1/**", self._carry)

    def mend(self) -> None:
        """Carry from now on, and let the browser tell its page so."""
        self._is_mended = True
        self._phone.evaluate("window.dispatchEvent(new Event('online'))")

    def _carry(self, route: Route) -> None:
        if self.answers and not self._is_mended:
            route.abort("connectionreset")
            return
        answer = route.fetch()
        self.answers.append(answer.status)
        if self._is_mended:
            route.fulfill(response=answer)
        else:
            route.abort("connectionreset")


@pytest.mark.long
def test_a_fault_of_the_portal_is_tried_again(cast: Cast, phone: Page, number: str) -> None:
    faults = [500, 502]
    phone.context.route(
        "**/api/v1/**", lambda route: route.fulfill(status=faults.pop()) if faults else route.continue_()
    )
    open_form(phone, cast.site, number)
    fill_in(phone)
    submit(phone)
    expect(phone.get_by_text("The portal could not take it just now.")).to_be_visible()
    await_state(phone, number, "sent")
    assert not faults
    assert_once(cast.site, number)


def test_a_busy_portal_is_left_alone_for_as_long_as_it_asks(cast: Cast, phone: Page, number: str) -> None:
    tries: list[float] = []

    def refuse_once(route: Route) -> None:
        tries.append(time.monotonic())
        busy = len(tries) == 1
        route.fulfill(status=503, headers={"Retry-After": "5"}) if busy else route.continue_()

    phone.context.route("**/api/v1/**", refuse_once)
    open_form(phone, cast.site, number)
    fill_in(phone)
    submit(phone)
    expect(phone.get_by_text("The portal could not take it just now.")).to_be_visible()
    assert kept(phone, number)["state"] == "waiting"
    # Without the word of the portal it would try again after 2 s, and at once when the page is looked at again.
    phone.evaluate("window.dispatchEvent(new Event('online'))")
    await_state(phone, number, "sent")
    assert len(tries) == 2
    assert tries[1] - tries[0] > 4.9
    assert_once(cast.site, number)


def test_it_waits_for_a_sign_in_when_the_session_has_ended(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    fill_in(phone, "Typed after the session ended")
    Session.objects.all().delete()
    submit(phone)
    expect(phone.get_by_text("You are signed out.")).to_be_visible()
    assert_accessible(phone)
    phone.get_by_role("link", name="Sign in to send").click()
    cast.volunteer.set_password("river and stones")
    cast.volunteer.save()
    phone.locator("[name=login]").fill(cast.volunteer.email)
    phone.locator("[name=password]").fill("river and stones")
    phone.get_by_role("button", name="Sign in", exact=True).click()
    expect(phone).to_have_url(re.compile(re.escape(HOME) + "$"))
    await_state(phone, number, "sent")
    assert_once(cast.site, number)


@pytest.mark.long
def test_a_typed_word_is_kept_even_where_the_page_goes_at_once(cast: Cast, phone: Page, number: str) -> None:
    open_form(phone, cast.site, number)
    phone.get_by_label("Notes").fill("Gone in a moment")
    phone.goto(HOME)
    await_kept(phone, number, "Gone in a moment")
    assert kept(phone, number)["state"] == "draft"


def test_the_worker_sends_with_every_page_closed(cast: Cast, ready_phone: Page, number: str) -> None:
    phone, context = ready_phone, ready_phone.context
    queue_without_network(phone, cast, number)
    blank = context.new_page()
    devtools = context.new_cdp_session(blank)
    found: list[str] = []
    devtools.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda event: found.extend(each["registrationId"] for each in event["registrations"]),
    )
    devtools.send("ServiceWorker.enable")
    await_in(blank, lambda: bool(found), "no worker is registered")
    origin = phone.evaluate("location.origin")
    phone.close()
    context.set_offline(False)
    sync = {"origin": origin, "registrationId": found[0], "tag": "rifflebook-send", "lastChance": False}
    devtools.send("ServiceWorker.dispatchSyncEvent", sync)
    await_true(lambda: Visit.objects.of_group(cast.group).exists(), "the worker sent nothing")
    assert_once(cast.site, number)
