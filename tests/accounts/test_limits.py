"""Limits on trying: for all processes together, no lock-out without Redis, no telling who has an account."""

from __future__ import annotations

import re
import subprocess
import sys
from statistics import median
from time import perf_counter
from typing import Any

import pytest
from django.core.cache import cache, caches
from django.core.mail import EmailMessage
from django.test import Client
from django.urls import reverse
from pytest_django import Settings
from redis import Redis

from portal.accounts.signing_in.limits import SharedCounts
from portal.embedded.place import PROJECT
from portal.embedded.valkey import client_address
from tests.factories import account_at

PASSWORD = "seven otters by the weir"
KNOWN, UNKNOWN = "known@example.org", "unknown@example.org"


def fail_to_sign_in(client: Client, email: str = KNOWN) -> str:
    sent = {"login": email, "password": "some other long password"}
    return client.post(reverse("account_login"), sent).content.decode()


@pytest.fixture
def away(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> SharedCounts:
    """A cache whose Redis does not answer."""
    monkeypatch.setattr(SharedCounts, "rest_until", 0.0)
    return SharedCounts("redis://127.0.0.1:1/0", {"OPTIONS": {"socket_connect_timeout": 1}})


def test_it_counts_in_redis_where_every_process_reads() -> None:
    assert isinstance(caches["default"], SharedCounts)
    cache.set("tried", [1.5, 2.5], 60)
    code = "from django.core.cache import cache; print(cache.get('tried'))"
    whole = f"import django; django.setup(); {code}"
    told = subprocess.run(
        [sys.executable, "-c", whole], cwd=PROJECT, capture_output=True, text=True, check=True
    ).stdout
    assert told.strip() == "[1.5, 2.5]"


def test_nothing_read_from_redis_is_unpickled() -> None:
    cache.set("tried", [1.5], 60)
    stored = Redis.from_url(client_address_of_tests()).get(cache.make_key("tried"))
    assert stored == b"[1.5]"


def client_address_of_tests() -> str:
    from django.conf import settings

    return client_address(settings.REDIS_URL)


def test_clearing_leaves_what_is_not_counted_here() -> None:
    server = Redis.from_url(client_address_of_tests())
    server.set("of-the-broker", "1")
    cache.set("tried", 1)
    cache.clear()
    assert cache.get("tried") is None
    assert server.get("of-the-broker") == b"1"
    server.delete("of-the-broker")


def test_without_redis_each_process_counts_for_itself(away: SharedCounts) -> None:
    assert away.add("lock", True, timeout=5) is True
    assert away.add("lock", True, timeout=5) is False
    away.set("tried", [1.0])
    assert away.get("tried") == [1.0]
    began = perf_counter()
    for _time in range(50):
        away.get("tried")
    assert perf_counter() - began < 0.5, "a server that is away is asked again each time"


@pytest.mark.django_db
def test_nobody_is_locked_out_while_redis_is_away(away: SharedCounts, monkeypatch: pytest.MonkeyPatch) -> None:
    user = account_at(KNOWN, password=PASSWORD)
    monkeypatch.setattr(caches._connections, "default", away, raising=False)  # type: ignore[attr-defined]
    client = Client()
    client.post(reverse("account_login"), {"login": KNOWN, "password": PASSWORD})
    assert client.session["_auth_user_id"] == str(user.pk)
    tries = [fail_to_sign_in(Client()) for _time in range(7)]
    assert "Too many" in tries[-1], "the limit does not hold without Redis"


@pytest.mark.django_db
def test_after_five_wrong_passwords_the_right_one_waits_too(settings: Settings) -> None:
    account_at(KNOWN, password=PASSWORD)
    tries = [fail_to_sign_in(Client()) for _time in range(6)]
    assert "Too many" not in tries[4]
    assert "Too many" in tries[5]
    client = Client()
    client.post(reverse("account_login"), {"login": KNOWN, "password": PASSWORD})
    assert "_auth_user_id" not in client.session


def bare(html: str, email: str) -> str:
    return re.sub(r"csrf\S+ value=\S+", "", html.replace(email, "X"))


@pytest.mark.django_db
class TestNobodyLearnsWhoHasAnAccount:
    def test_signing_in(self) -> None:
        account_at(KNOWN, password=PASSWORD)
        account_at("closed@example.org", password=PASSWORD, is_active=False)
        pages = {
            bare(fail_to_sign_in(Client(), email), email) for email in (KNOWN, UNKNOWN, "closed@example.org")
        }
        assert len(pages) == 1

    def test_setting_a_new_password(self, mailoutbox: list[EmailMessage]) -> None:
        account_at(KNOWN, password=PASSWORD)
        pages = []
        for email in (KNOWN, UNKNOWN):
            answer = Client().post(reverse("account_reset_password"), {"email": email}, follow=True)
            pages.append((bare(answer.content.decode(), email), answer.redirect_chain))
        assert pages[0] == pages[1]
        # Only the mailbox itself is told.
        assert [each.to for each in mailoutbox] == [[KNOWN], [UNKNOWN]]

    def test_an_address_with_no_account_takes_as_long(self, settings: Settings) -> None:
        """With the real, slow hasher: without a password to check against, one is hashed all the same."""
        settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
        settings.ACCOUNT_RATE_LIMITS = False
        account_at(KNOWN, password=PASSWORD)
        took: dict[str, list[float]] = {KNOWN: [], UNKNOWN: []}
        for _time in range(5):
            for email, times in took.items():
                began = perf_counter()
                fail_to_sign_in(Client(), email)
                times.append(perf_counter() - began)
        quick, slow = sorted(median(times) for times in took.values())
        assert slow < 1.6 * quick, took


def test_every_try_is_limited(settings: Any) -> None:
    from allauth.account import app_settings
    from allauth.mfa import app_settings as factors

    assert {"login", "login_failed", "reset_password", "reauthenticate"} <= {
        name for name, rate in app_settings.RATE_LIMITS.items() if rate
    }
    assert factors.RATE_LIMITS["webauthn_login"]
