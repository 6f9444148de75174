"""Sign-in and its neighbours, in our look and in our words."""

from __future__ import annotations

import pytest
from django.core.mail import EmailMessage
from django.test import Client
from django.urls import reverse

from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

OPEN = [
    "account_login",
    "account_reset_password",
    "account_reset_password_done",
    "account_email_verification_sent",
]
SIGNED_IN = ["account_email", "account_change_password", "account_logout", "account_reauthenticate"]


def assert_ours(html: str) -> None:
    assert html.count("<h1>") == 1
    assert "Rifflebook</title>" in html
    assert "css/tokens.css" in html
    assert "style=" not in html


@pytest.mark.parametrize("name", OPEN)
def test_it_shows_pages_for_strangers_in_our_look(client: Client, name: str) -> None:
    answer = client.get(reverse(name))
    assert answer.status_code == 200
    assert_ours(answer.content.decode())


@pytest.mark.parametrize("name", SIGNED_IN)
def test_it_shows_pages_of_the_account_in_our_look(client: Client, name: str) -> None:
    user = UserFactory()
    user.set_password("a long enough password")
    user.save()
    client.force_login(user)
    answer = client.get(reverse(name))
    assert answer.status_code == 200
    assert_ours(answer.content.decode())


def test_it_lets_somebody_without_a_password_set_one(client: Client) -> None:
    client.force_login(UserFactory())
    answer = client.get(reverse("account_change_password"), follow=True)
    assert answer.redirect_chain[-1][0] == reverse("account_set_password")
    assert_ours(answer.content.decode())


def test_it_keeps_the_address_and_says_what_is_wrong_when_sign_in_fails(client: Client) -> None:
    answer = client.post(reverse("account_login"), {"login": "ada@example.org", "password": "wrong"})
    html = answer.content.decode()
    assert 'value="ada@example.org"' in html
    assert "Not sent yet: 1 entry needs another look" in html


def test_the_way_to_a_new_password_comes_after_the_fields(client: Client) -> None:
    page = client.get("/account/login/").content.decode()
    assert page.index('name="login"') < page.index('name="password"') < page.index("Forgot your password?")
    assert page.count("/account/password/reset/") == 1


def test_it_says_that_a_used_reset_link_no_longer_works(client: Client) -> None:
    answer = client.get(reverse("account_reset_password_from_key", kwargs={"uidb36": "1", "key": "2-3"}))
    html = answer.content.decode()
    assert "This link no longer works" in html
    assert_ours(html)


def test_it_writes_the_reset_letter_in_our_words(client: Client, mailoutbox: list[EmailMessage]) -> None:
    user = UserFactory()
    user.set_password("a long enough password")
    user.save()
    client.post(reverse("account_reset_password"), {"email": user.email})
    letter = mailoutbox[0]
    assert letter.subject == "Set a new password for Rifflebook"
    assert "/account/password/reset/key/" in letter.body
    assert "not an emergency service" in letter.body
    assert "example.com" not in letter.body


def test_it_tells_an_unknown_address_so_without_telling_the_page(
    client: Client, mailoutbox: list[EmailMessage]
) -> None:
    answer = client.post(reverse("account_reset_password"), {"email": "nobody@example.org"}, follow=True)
    assert "If that address belongs to an account" in answer.content.decode()
    assert mailoutbox[0].subject == "No account with this address at Rifflebook"
