"""What a browser calls itself, in words, and whose device it is known to be."""

from __future__ import annotations

from http.cookies import SimpleCookie

import pytest
from django.conf import settings
from django.core import signing
from django.http import HttpResponse
from django.test import RequestFactory

from portal.accounts.models import User
from portal.accounts.signing_in.devices import MOST_PEOPLE, _mark_of, _people_of, device_of, know_device

CHROME = "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0 Safari/537.36"
ANDROID = CHROME.replace("X11; Linux x86_64", "Linux; Android 15; K")
PHONE = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_6 like Mac OS X) AppleWebKit/605.1.15 Version/18.6 Safari/604.1"


@pytest.mark.parametrize(
    ("user_agent", "words"),
    [
        (CHROME, "Chrome, Linux"),
        (ANDROID, "Chrome, Android"),
        (PHONE, "Safari, iPhone"),
        (f"{CHROME} Edg/140.0", "Edge, Linux"),
        (f"{CHROME} OPR/120.0", "Opera, Linux"),
        ("Mozilla/5.0 (Windows NT 10.0; rv:142.0) Gecko/20100101 Firefox/142.0", "Firefox, Windows"),
        ("Mozilla/5.0 (Windows NT 10.0)", "Windows"),
        ("curl/8.5", "an unknown device"),
        ("", "an unknown device"),
    ],
)
def test_a_device_is_called_by_what_its_owner_knows_it_by(user_agent: str, words: str) -> None:
    assert device_of(user_agent) == words


def people_after(*users: User, kept: str = "") -> list[str]:
    """Whose device it is known to be after these have signed in on it, one after the other."""
    for user in users:
        request, response = RequestFactory().get("/"), HttpResponse()
        request.COOKIES[settings.DEVICE_COOKIE_NAME] = kept
        know_device(request, user, response)
        kept = SimpleCookie(response.cookies.output(header=""))[settings.DEVICE_COOKIE_NAME].value
    request = RequestFactory().get("/")
    request.COOKIES[settings.DEVICE_COOKIE_NAME] = kept
    return _people_of(request)


def test_it_knows_everybody_who_signed_in_there_the_last_first() -> None:
    ada, bo = User(), User()
    assert people_after(ada, bo, ada) == [_mark_of(ada), _mark_of(bo)]


def test_whoever_was_there_longest_ago_is_forgotten_when_there_are_too_many() -> None:
    users = [User() for _each in range(MOST_PEOPLE + 1)]
    known = people_after(*users)
    assert len(known) == MOST_PEOPLE
    assert _mark_of(users[0]) not in known
    assert known[0] == _mark_of(users[-1])


def test_a_note_that_is_not_ours_knows_nobody() -> None:
    user = User()
    for kept in ("", "forged", signing.dumps(["a"], salt="another purpose")):
        assert people_after(user, kept=kept) == [_mark_of(user)]
        assert people_after(kept=kept) == []
