"""How long a sign-in lasts, and what ends it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core.mail import EmailMessage
from django.test import Client
from django.urls import reverse

from portal.accounts.models import User
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

PASSWORD, NEW_PASSWORD = "seven otters by the weir", "nine herons under the arch"
BEGAN = datetime(2031, 5, 4, 10, tzinfo=UTC)
OWN_PAGE = "account_email"


@pytest.fixture
def user() -> User:
    user = UserFactory()
    user.set_password(PASSWORD)
    user.save()
    return user


def sign_in(user: User, password: str = PASSWORD, client: Client | None = None) -> Client:
    client = client or Client()
    client.post(reverse("account_login"), {"login": user.email, "password": password})
    return client


def is_in(client: Client) -> bool:
    return client.get(reverse(OWN_PAGE)).status_code == 200


def key_of(client: Client) -> str:
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def with_key(key: str) -> Client:
    """Somebody who has got hold of a session's key."""
    client = Client()
    client.cookies[settings.SESSION_COOKIE_NAME] = key
    return client


def test_a_sign_in_gives_a_new_key_and_the_old_one_opens_nothing(user: User) -> None:
    client = Client()
    session = client.session
    session["planted"] = "by somebody else"
    session.save()
    planted = str(session.session_key)
    client.cookies[settings.SESSION_COOKIE_NAME] = planted
    assert is_in(sign_in(user, client=client))
    assert key_of(client) != planted
    assert not is_in(with_key(planted))


def test_it_ends_two_weeks_after_it_began_however_busy(user: User) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client = sign_in(user)
        clock.shift(timedelta(days=13, hours=23))
        session = client.session
        session["touched"] = True
        session.save()
        assert is_in(client)
        clock.shift(timedelta(hours=1, seconds=1))
        assert not is_in(client)


def test_the_cookie_is_for_no_script_and_ends_with_the_session(user: User) -> None:
    with time_machine.travel(BEGAN, tick=False):
        cookie: Any = sign_in(user).cookies[settings.SESSION_COOKIE_NAME]
    assert (cookie["httponly"], cookie["samesite"], cookie["path"], cookie["domain"]) == (True, "Lax", "/", "")
    assert cookie["max-age"] == 14 * 86_400


def test_signing_out_ends_the_session_on_the_server(user: User) -> None:
    client = sign_in(user)
    key = key_of(client)
    client.get(reverse("account_logout"))
    assert is_in(with_key(key)), "a mere link signs nobody out"
    client.post(reverse("account_logout"))
    assert not is_in(with_key(key))


def test_a_new_password_ends_all_other_sessions(user: User) -> None:
    here, there = sign_in(user), sign_in(user)
    before = key_of(here)
    sent = {"oldpassword": PASSWORD, "password1": NEW_PASSWORD, "password2": NEW_PASSWORD}
    here.post(reverse("account_change_password"), sent)
    assert is_in(here)
    assert key_of(here) != before
    assert not is_in(there)
    assert not is_in(with_key(before))


def test_a_password_set_by_mail_ends_all_sessions(user: User, mailoutbox: list[EmailMessage]) -> None:
    there, stranger = sign_in(user), Client()
    stranger.post(reverse("account_reset_password"), {"email": user.email})
    link = next(word for word in mailoutbox[0].body.split() if "/password/reset/key/" in word)
    page = stranger.get(link.split("localhost:8000")[-1].split("testserver")[-1], follow=True)
    form = page.redirect_chain[-1][0]
    stranger.post(form, {"password1": NEW_PASSWORD, "password2": NEW_PASSWORD})
    assert not is_in(there)
    assert is_in(sign_in(user, NEW_PASSWORD))
    assert not is_in(sign_in(user, PASSWORD))


def test_an_account_that_is_closed_is_out_at_once(user: User) -> None:
    client = sign_in(user)
    assert is_in(client)
    User.objects.filter(pk=user.pk).update(is_active=False)
    assert not is_in(client)
