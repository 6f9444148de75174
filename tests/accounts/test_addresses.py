"""Which addresses an account has proven: by an invitation, or by a confirmation mail."""

from __future__ import annotations

import re

import pytest
from allauth.account.models import EmailAddress
from django.core.mail import EmailMessage
from django.test import Client

from portal.accounts.addresses import accounts_at, prove_address, proven_addresses
from portal.accounts.models import User
from portal.accounts.services import accept_invitation, invite_person, join_with_new_account
from tests.conftest import Cast
from tests.factories import UserFactory, account_at

pytestmark = pytest.mark.django_db
UNA = "una@rivers.example"


def test_it_proves_nothing_by_an_account_alone(db: None) -> None:
    claimed: User = UserFactory(email=UNA)
    assert proven_addresses(claimed.pk) == []
    assert accounts_at([UNA]) == set()


def test_it_keeps_a_proof_once(db: None) -> None:
    user = account_at(UNA)
    assert prove_address(user)
    assert EmailAddress.objects.get().primary
    assert (proven_addresses(user.pk), accounts_at([UNA])) == ([UNA], {user.pk})


@pytest.mark.parametrize("spelt", [UNA, "Una@Rivers.Example", UNA.upper()])
def test_it_finds_an_account_however_its_address_is_spelt(db: None, spelt: str) -> None:
    user = account_at(UNA)
    assert accounts_at(["other@rivers.example", spelt]) == {user.pk}


def test_it_finds_nobody_at_no_address(db: None) -> None:
    account_at(UNA)
    assert accounts_at([]) == set()


def test_it_forgets_an_account_that_was_closed(db: None) -> None:
    user = account_at(UNA)
    User.objects.filter(pk=user.pk).update(is_active=False)
    assert proven_addresses(user.pk) == []
    assert accounts_at([UNA]) == set()


def test_it_leaves_an_address_with_whoever_proved_it_first(db: None) -> None:
    first, late = account_at("first@example.org"), UserFactory(email=UNA)
    EmailAddress.objects.create(user=first, email=UNA, verified=True)
    assert not prove_address(late)
    assert accounts_at([UNA]) == {first.pk}
    assert proven_addresses(late.pk) == []


def test_a_newcomer_proves_the_address_the_invitation_was_sent_to(cast: Cast) -> None:
    invitation = invite_person(
        person=cast.person("coordinator"), group=cast.group, email="New@Example.org", role="volunteer"
    )
    user = join_with_new_account(invitation=invitation, name="Newt Example", password="long enough words")
    assert proven_addresses(user.pk) == ["new@example.org"]


def test_an_account_proves_its_address_by_the_invitation_it_accepts(cast: Cast) -> None:
    invitation = invite_person(
        person=cast.person("coordinator"), group=cast.group, email=cast.stranger.email, role="volunteer"
    )
    assert proven_addresses(cast.stranger.pk) == []
    accept_invitation(invitation=invitation, user=cast.stranger)
    assert proven_addresses(cast.stranger.pk) == [cast.stranger.email]


def test_nobody_becomes_somebody_else_by_claiming_their_address(client: Client, db: None) -> None:
    """An address that was only typed in proves nothing, and cannot take the place of one that is proven."""
    user = account_at("person@example.org")
    client.force_login(user)
    client.post("/account/email/", {"action_add": "", "email": UNA})
    assert EmailAddress.objects.get(email=UNA).verified is False
    client.post("/account/email/", {"action_primary": "", "email": UNA})
    user.refresh_from_db()
    assert user.email == "person@example.org"
    assert accounts_at([UNA]) == set()


def test_a_confirmation_mail_proves_a_further_address(client: Client, mailoutbox: list[EmailMessage]) -> None:
    # Its own, because one address is written to once in three minutes.
    further = "further@rivers.example"
    user = account_at("person@example.org")
    client.force_login(user)
    client.post("/account/email/", {"action_add": "", "email": further})
    (mail,) = [each for each in mailoutbox if each.to == [further]]
    link = re.search(r"https?://[^/\s]+(/account/confirm-email/\S+/)", str(mail.body))
    assert link, mail.body
    client.post(link.group(1))
    assert accounts_at([further]) == {user.pk}
