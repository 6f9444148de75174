"""How long a sign-in lasts, and what ends it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.mail import EmailMessage
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from portal.accounts.models import User
from portal.accounts.signing_in.sessions import clear_ended_sessions
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
        for _time in range(2):
            clock.shift(timedelta(days=6, hours=23, minutes=30))
            assert is_in(client)
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
    (mail,) = [each for each in mailoutbox if "/password/reset/key/" in str(each.body)]
    link = next(word for word in str(mail.body).split() if "/password/reset/key/" in word)
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


def test_it_ends_after_a_week_without_use(user: User) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        busy, idle = sign_in(user), sign_in(user)
        key = key_of(idle)
        for _day in range(8):
            clock.shift(timedelta(days=1))
            assert is_in(busy)
        assert not is_in(idle)
        assert not Session.objects.filter(session_key=key).exists(), "it ended in the browser only"


def test_being_used_is_written_down_once_a_day(user: User, monkeypatch: pytest.MonkeyPatch) -> None:
    with time_machine.travel(BEGAN, tick=False) as clock:
        client = sign_in(user)
        clock.shift(timedelta(days=1))
        with CaptureQueriesContext(connection) as first:
            client.get(reverse("session_list"))
        with CaptureQueriesContext(connection) as second:
            client.get(reverse("session_list"))
        assert len(second) < len(first)
        assert UserSession.objects.get(user=user).last_seen_at == BEGAN + timedelta(days=1)


class TestTheList:
    def test_it_tells_device_place_and_time_of_each(self, user: User) -> None:
        phone = Client(
            headers={"User-Agent": "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0) Version/18.0 Safari/604"}
        )
        client = sign_in(user)
        sign_in(user, client=phone)
        page = client.get(reverse("session_list")).content.decode()
        assert "Safari, iPhone" in page
        assert page.count("127.0.0.1") == 2
        assert page.count("this one") == 1

    def test_it_costs_the_same_for_many(self, user: User) -> None:
        counts = []
        client = sign_in(user)
        for _time in range(2):
            with CaptureQueriesContext(connection) as seen:
                client.get(reverse("session_list"))
            counts.append(len(seen))
            for _session in range(6):
                sign_in(user)
        assert counts[0] == counts[1]

    def test_it_ends_all_others_on_the_server(self, user: User) -> None:
        here, there, too = sign_in(user), sign_in(user), sign_in(user)
        other_person = UserFactory()
        strangers = Client()
        strangers.force_login(other_person)
        keys = [key_of(there), key_of(too)]
        assert (
            "2 sessions are ended"
            in here.post(reverse("session_list"), {"others": "all"}, follow=True).content.decode()
        )
        assert [is_in(with_key(key)) for key in keys] == [False, False]
        assert is_in(here)
        assert is_in(strangers)

    def test_it_ends_one_and_none_of_somebody_else(self, user: User) -> None:
        here, there = sign_in(user), sign_in(user)
        other = UserFactory()
        other.set_password(PASSWORD)
        other.save()
        theirs = sign_in(other)
        number = UserSession.objects.get(session_key=key_of(theirs)).pk
        here.post(reverse("session_list"), {"session": number})
        assert is_in(theirs)
        here.post(reverse("session_list"), {"session": UserSession.objects.get(session_key=key_of(there)).pk})
        assert not is_in(there)
        assert is_in(here)

    def test_what_has_run_out_is_forgotten(self, user: User) -> None:
        with time_machine.travel(BEGAN, tick=False) as clock:
            sign_in(user)
            clock.shift(timedelta(days=15))
            assert clear_ended_sessions(timezone.now()) == 1
        assert not UserSession.objects.exists()
        assert not Session.objects.exists()

    def test_each_is_counted_once_whatever_is_left_of_it(self, user: User) -> None:
        """A session of somebody who is not signed in, one with its device, and a device without a session."""
        with time_machine.travel(BEGAN, tick=False) as clock:
            Session.objects.create(session_key="bare", session_data="x", expire_date=timezone.now())
            sign_in(user)
            UserSession.objects.create(user=user, session_key="outlived", ip="203.0.113.9", user_agent="x")
            assert clear_ended_sessions(timezone.now()) == 2
            clock.shift(timedelta(days=15))
            assert clear_ended_sessions(timezone.now()) == 1
