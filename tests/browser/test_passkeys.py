"""Passkeys in a real browser, with an authenticator that Chromium plays itself."""

from __future__ import annotations

from typing import Any

import pytest
from django.conf import LazySettings
from django.urls import reverse
from playwright.sync_api import CDPSession, Page, expect
from pytest_django.live_server_helper import LiveServer

from portal.accounts.models import User
from tests.access.world_signing_in import PASSWORD
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.second_factor import code_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TYPED = "seven otters by the weir"
PHONE = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


@pytest.fixture
def cora(cast: Cast, settings: LazySettings, live_server: LiveServer) -> User:
    settings.BASE_URL = live_server.url
    cast.coordinator.password = PASSWORD
    cast.coordinator.save()
    return cast.coordinator


@pytest.fixture
def page(page_for: PageFor, cora: User) -> Page:
    return page_for(width=360)


def give_phone(page: Page) -> tuple[CDPSession, str]:
    """An authenticator that is always there, and whose finger always fits."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    made: Any = session.send("WebAuthn.addVirtualAuthenticator", {"options": PHONE})
    return session, made["authenticatorId"]


def type_password(page: Page, user: User) -> None:
    page.goto(reverse("account_login"))
    page.get_by_label("E").first.fill(user.email)
    page.locator("input[name=password]").fill(TYPED)
    page.get_by_role("button", name="Sign in", exact=True).click()


def sign_out(page: Page) -> None:
    page.goto(reverse("account_logout"))
    page.locator("main").get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/")


def add_passkey(page: Page) -> list[str]:
    """Add one on the page where a coordinator is led; returns the recovery codes that are shown."""
    expect(page.get_by_role("heading", name="Signing in", level=1)).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="Add a passkey").click()
    assert_accessible(page)
    page.get_by_label("What you call it").fill("My phone")
    page.get_by_role("button", name="Make the passkey").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    assert_accessible(page)
    codes = page.locator("#recovery-codes code").all_inner_texts()
    page.get_by_role("link", name="I have kept them").click()
    return codes


def desk(page: Page, cast: Cast) -> None:
    page.wait_for_url(lambda url: "/account/" not in url)
    page.goto(f"/groups/{cast.group.slug}/people/")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.url.endswith("/people/"), page.url


def test_a_coordinator_adds_one_signs_in_with_it_and_loses_it(page: Page, cora: User, cast: Cast) -> None:
    phone, number = give_phone(page)
    type_password(page, cora)
    codes = add_passkey(page)
    assert len(codes) == 10
    desk(page, cast)
    assert phone.send("WebAuthn.getCredentials", {"authenticatorId": number})["credentials"]

    # Without a password.
    sign_out(page)
    page.goto(reverse("account_login"))
    assert_accessible(page)
    page.get_by_role("button", name="Sign in with a passkey").click()
    desk(page, cast)

    # As the second step after it.
    sign_out(page)
    type_password(page, cora)
    expect(page.get_by_role("heading", name="Second step")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("button", name="Use my passkey").click()
    desk(page, cast)

    # The phone lies in the river.
    sign_out(page)
    phone.send("WebAuthn.removeVirtualAuthenticator", {"authenticatorId": number})
    type_password(page, cora)
    page.get_by_label("Code").fill(codes[4])
    page.get_by_role("button", name="Use the code").click()
    desk(page, cast)
    page.goto(reverse("mfa_list_webauthn"))
    assert_accessible(page)
    page.get_by_role("link", name="Remove My phone").click()
    assert_accessible(page)
    page.get_by_role("button", name="Remove it").click()
    expect(page.get_by_text("You have none yet.")).to_be_visible()


def test_a_passkey_that_is_not_there_is_told(page: Page) -> None:
    phone, number = give_phone(page)
    phone.send("WebAuthn.setUserVerified", {"authenticatorId": number, "isUserVerified": False})
    page.goto(reverse("account_login"))
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page.get_by_text("The passkey was not used")).to_be_visible()


def test_one_time_codes_by_picture_and_the_password_can_be_looked_at(
    page: Page, cora: User, cast: Cast
) -> None:
    page.goto(reverse("account_login"))
    field = page.locator("input[name=password]")
    field.fill(TYPED)
    page.get_by_role("button", name="Show the password").click()
    expect(field).to_have_attribute("type", "text")
    page.get_by_role("button", name="Hide the password").click()
    expect(field).to_have_attribute("type", "password")
    type_password(page, cora)
    page.get_by_role("link", name="Set up one-time codes").click()
    assert_accessible(page)
    assert page.locator("img.one-time-picture").evaluate("each => each.naturalWidth") > 0
    page.get_by_label("Code that the app shows now").fill(code_of(page.locator("#one-time-key").inner_text()))
    page.get_by_role("button", name="Use one-time codes").click()
    page.get_by_role("link", name="I have kept them").click()
    desk(page, cast)
    page.goto(reverse("session_list"))
    expect(page.get_by_text("this one")).to_be_visible()
