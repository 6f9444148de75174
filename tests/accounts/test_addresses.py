"""Which addresses an account has proven: by an invitation, or by a confirmation mail."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from allauth.account.models import EmailAddress
from django.core.mail import EmailMessage
from django.test import Client
from django.utils import timezone

from portal.accounts.addresses import accounts_at, prove_address, proven_addresses
from portal.accounts.models import User
from portal.accounts.services import accept_invitation, invite_person, join_with_new_account
from portal.audit.models import AuditEntry
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
    user = account_at("person@example.org", password="seven otters by the weir")
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
    user = account_at("person@example.org", password="seven otters by the weir")
    client.force_login(user)
    client.post("/account/email/", {"action_add": "", "email": further})
    client.post(link_to(further, "confirm-email", mailoutbox))
    assert accounts_at([further]) == set(), "the address that the account has now was not asked"
    client.post(link_to(user.email, "email/agree", mailoutbox), {"answer": "yes"})
    assert accounts_at([further]) == {user.pk}


def link_to(address: str, path: str, mails: list[EmailMessage]) -> str:
    """The link of that kind in the mail to that address."""
    (mail,) = [each for each in mails if each.to == [address] and f"/account/{path}/" in str(each.body)]
    found = re.search(rf"https?://[^/\s]+(/account/{path}/\S+/)", str(mail.body))
    assert found, mail.body
    return found.group(1)


@pytest.fixture
def asked(client: Client, mailoutbox: list[EmailMessage]) -> User:
    """An account for which a further address was typed in."""
    user = account_at("person@example.org", password="seven otters by the weir")
    client.force_login(user)
    client.post("/account/email/", {"action_add": "", "email": UNA})
    return user


def test_either_address_may_answer_first(asked: User, mailoutbox: list[EmailMessage]) -> None:
    nobody = Client()
    nobody.post(link_to(asked.email, "email/agree", mailoutbox), {"answer": "yes"})
    assert accounts_at([UNA]) == set()
    nobody.post(link_to(UNA, "confirm-email", mailoutbox))
    assert accounts_at([UNA]) == {asked.pk}


def test_the_present_address_stops_it_for_good(
    asked: User, client: Client, mailoutbox: list[EmailMessage]
) -> None:
    nobody, new = Client(), link_to(UNA, "confirm-email", mailoutbox)
    present = link_to(asked.email, "email/agree", mailoutbox)
    assert nobody.get(present).status_code == 200
    assert EmailAddress.objects.filter(email=UNA).exists(), "looking at the link has decided"
    assert "It is stopped" in nobody.post(present, {"answer": "no"}).content.decode()
    nobody.post(new)
    assert not EmailAddress.objects.filter(email=UNA).exists()
    assert nobody.post(present, {"answer": "yes"}).status_code == 410
    verbs = set(AuditEntry.objects.across_groups("test").values_list("verb", flat=True))
    assert "account.address_stopped" in verbs


def test_the_question_ends_after_three_days(asked: User, mailoutbox: list[EmailMessage]) -> None:
    present = link_to(asked.email, "email/agree", mailoutbox)
    with time_machine.travel(timezone.now() + timedelta(days=3, seconds=2), tick=False):
        assert Client().post(present, {"answer": "yes"}).status_code == 410


def test_an_unproven_account_cannot_make_a_further_address_its_main_one(
    client: Client, mailoutbox: list[EmailMessage]
) -> None:
    """The sign-in library lets an account without any proven address change to an unproven one."""
    user: User = UserFactory(email="op@example.org", password="seven otters by the weir")
    client.force_login(user)
    client.post("/account/email/", {"action_add": "", "email": UNA})
    client.post("/account/email/", {"action_primary": "", "email": UNA})
    user.refresh_from_db()
    assert user.email == "op@example.org"


def test_an_address_of_somebody_else_gets_the_same_answer(
    client: Client, mailoutbox: list[EmailMessage]
) -> None:
    account_at(UNA)
    user = account_at("person@example.org", password="seven otters by the weir")
    client.force_login(user)
    pages = []
    for email in (UNA, "unb@rivers.example"):
        answer = client.post("/account/email/", {"action_add": "", "email": email}, follow=True)
        pages.append(re.sub(r"csrf\S+ value=\S+", "", answer.content.decode().replace(email, "X")))
        client.post("/account/email/", {"action_remove": "", "email": email})
        client.get("/account/email/")
    assert pages[0] == pages[1]
