"""Setting a second factor up, signing in with it, losing it, and what its owner is told."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from allauth.mfa.utils import decrypt
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.mail import EmailMessage
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from portal.accounts.models import User
from portal.accounts.signing_in.losing import reset_member_factor
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from tests.conftest import Cast
from tests.factories import UserFactory, person_for
from tests.people.making import membership_of
from tests.second_factor import code_of, give_codes, give_passkey

pytestmark = pytest.mark.django_db
PASSWORD = "seven otters by the weir"
SET_UP = "/account/second-factor/"
NOON = datetime(2031, 5, 4, 12, tzinfo=UTC)


@pytest.fixture
def cora(cast: Cast) -> User:
    cast.coordinator.set_password(PASSWORD)
    cast.coordinator.save()
    return cast.coordinator


def sign_in(user: User, client: Client | None = None) -> Client:
    client = client or Client()
    client.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
    return client


def is_in(client: Client) -> bool:
    return client.get("/groups/alder-beck/people/").status_code == 200


def subjects(mails: list[EmailMessage]) -> list[str]:
    return [str(each.subject) for each in mails]


# The library tells of a new factor once it is committed.
@pytest.mark.django_db(transaction=True)
def test_a_coordinator_is_led_to_set_one_up_and_then_goes_on(
    cora: User, mailoutbox: list[EmailMessage]
) -> None:
    client, elsewhere = sign_in(cora), sign_in(cora)
    assert client.get("/", follow=True).redirect_chain[-1][0].startswith(SET_UP)
    secret = client.get(reverse("mfa_activate_totp")).context["form"].secret
    wrong = client.post(reverse("mfa_activate_totp"), {"code": "000000"})
    assert "This code is wrong" in wrong.content.decode()
    done = client.post(reverse("mfa_activate_totp"), {"code": code_of(secret)}, follow=True)
    assert len(re.findall(r"<li><code>\d{8}</code>", done.content.decode())) == 10
    assert is_in(client)
    assert "One-time codes now sign you in at Rifflebook" in subjects(mailoutbox)
    # What was signed in without a factor has ended.
    assert elsewhere.get(SET_UP).status_code == 302


def test_recovery_codes_are_shown_once(cora: User) -> None:
    client = sign_in(cora)
    secret = client.get(reverse("mfa_activate_totp")).context["form"].secret
    client.post(reverse("mfa_activate_totp"), {"code": code_of(secret)}, follow=True)
    again = client.get(reverse("mfa_view_recovery_codes")).content.decode()
    assert not re.search(r"\b\d{8}\b", again)
    assert client.get(reverse("mfa_download_recovery_codes")).status_code == 403


def test_the_password_alone_lets_nobody_in_who_has_one(cora: User) -> None:
    secret = give_codes(cora)
    client = sign_in(cora)
    assert not is_in(client)
    assert "_auth_user_id" not in client.session
    page = client.post(reverse("mfa_authenticate"), {"code": "123456"})
    assert "This code is wrong" in page.content.decode()
    client.post(reverse("mfa_authenticate"), {"code": code_of(secret)})
    assert is_in(client)


def test_a_code_signs_in_once(cora: User) -> None:
    secret = give_codes(cora)
    with time_machine.travel(NOON, tick=False):
        first, second = sign_in(cora), sign_in(cora)
        for client in (first, second):
            client.post(reverse("mfa_authenticate"), {"code": code_of(secret)})
        assert (is_in(first), is_in(second)) == (True, False)


def test_a_recovery_code_stands_in_for_a_lost_phone_once(cora: User) -> None:
    give_codes(cora)
    code = Authenticator.objects.get(user=cora, type="recovery_codes").wrap().get_unused_codes()[3]
    for expected in (True, False):
        client = sign_in(cora)
        client.post(reverse("mfa_authenticate"), {"code": code})
        assert is_in(client) is expected


def test_five_wrong_codes_are_enough(cora: User) -> None:
    secret = give_codes(cora)
    client = sign_in(cora)
    for _time in range(5):
        client.post(reverse("mfa_authenticate"), {"code": "000000"})
    client.post(reverse("mfa_authenticate"), {"code": code_of(secret)})
    assert not is_in(client)


def test_an_old_session_shows_the_factor_and_goes_on(cora: User) -> None:
    client = sign_in(cora)
    secret = give_codes(cora)
    assert not is_in(client)
    client.post(reverse("mfa_reauthenticate"), {"code": code_of(secret)})
    assert is_in(client)


def test_without_the_last_factor_a_coordinator_is_asked_again(
    cora: User, mailoutbox: list[EmailMessage]
) -> None:
    secret = give_codes(cora)
    client = sign_in(cora)
    client.post(reverse("mfa_authenticate"), {"code": code_of(secret)})
    client.post(reverse("mfa_deactivate_totp"))
    assert not Authenticator.objects.filter(user=cora).exists()
    assert not is_in(client)
    assert "One-time codes no longer sign you in at Rifflebook" in subjects(mailoutbox)


def test_a_change_of_the_account_needs_the_password_of_now(cora: User) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        client = sign_in(cora)
        assert client.get(reverse("mfa_activate_totp")).status_code == 200
        clock.shift(timedelta(minutes=11))
        asked = client.get(reverse("mfa_activate_totp"))
        assert asked["Location"].startswith(reverse("account_reauthenticate"))
        client.post(asked["Location"], {"password": PASSWORD})
        assert client.get(reverse("mfa_activate_totp")).status_code == 200


def test_secrets_lie_encrypted_in_the_database(cora: User, settings: Settings) -> None:
    secret = give_codes(cora)
    stored = Authenticator.objects.get(user=cora, type="totp").data["secret"]
    assert secret not in stored
    assert decrypt(stored) == secret
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another-key-" + "y" * 50
    assert decrypt(stored) == secret
    settings.SECRET_KEY_FALLBACKS = []
    assert decrypt(stored) != secret


class TestANewDevice:
    def test_it_is_told_by_mail_once(self, cora: User, mailoutbox: list[EmailMessage]) -> None:
        agent = "Mozilla/5.0 (Android 14; Mobile; rv:130.0) Gecko/130.0 Firefox/130.0"
        client = Client(headers={"User-Agent": agent})
        for _time in range(2):
            sign_in(cora, client)
            client.post(reverse("account_logout"))
        (mail,) = mailoutbox
        assert mail.subject == "You have signed in to Rifflebook on a new device"
        assert "Firefox, Android" in str(mail.body)
        assert mail.to == [cora.email]

    def test_another_persons_browser_is_new_to_them(
        self, cast: Cast, cora: User, mailoutbox: list[Any]
    ) -> None:
        cast.volunteer.set_password(PASSWORD)
        cast.volunteer.save()
        client = sign_in(cora)
        client.post(reverse("account_logout"))
        sign_in(cast.volunteer, client)
        assert [each.to for each in mailoutbox] == [[cora.email], [cast.volunteer.email]]

    def test_a_forged_note_counts_for_nothing(
        self, cora: User, mailoutbox: list[Any], settings: Settings
    ) -> None:
        client = Client()
        client.cookies[settings.DEVICE_COOKIE_NAME] = "WyJhIl0:forged"
        sign_in(cora, client)
        assert len(mailoutbox) == 1


class TestLost:
    def test_a_coordinator_helps_a_member_back_in(self, cast: Cast, mailoutbox: list[EmailMessage]) -> None:
        vera = cast.volunteer
        vera.set_password(PASSWORD)
        vera.save()
        client = sign_in(vera)
        give_passkey(vera)
        give_codes(vera)
        membership = membership_of(vera, cast.group)
        url = reverse("factor_reset", args=[cast.group.slug, membership.pk])
        cora = Client()
        cast.coordinator.set_password(PASSWORD)
        cast.coordinator.save()
        cora.force_login(cast.coordinator)
        assert cora.post(url, {"reason": ""}).status_code == 422
        assert cora.post(url, {"reason": "Met her."}).status_code == 302
        assert not Authenticator.objects.filter(user=vera).exists()
        assert client.get("/account/sessions/").status_code == 302
        assert "_auth_user_id" not in sign_in(vera).session, "the old password still signs in"
        entry = AuditEntry.objects.of_group(cast.group).get(verb="account.factor_reset")
        assert (entry.actor_name, entry.reason) == ("Cora Example", "Met her.")
        letter = Message.objects.across_groups("test").get(to_address=vera.email, kind="account")
        assert "Cora Example has taken your lost second factor off" in letter.text
        Client().post(reverse("account_reset_password"), {"email": vera.email})
        assert "Set a new password for Rifflebook" in subjects(mailoutbox)

    def test_nobody_does_it_for_themselves_or_for_an_operator(self, cast: Cast) -> None:
        person = cast.person("coordinator")
        with pytest.raises(PermissionDenied):
            reset_member_factor(
                person=person, membership=membership_of(cast.coordinator, cast.group), reason="I."
            )
        User.objects.filter(pk=cast.volunteer.pk).update(is_staff=True)
        with pytest.raises(ValidationError):
            reset_member_factor(
                person=person, membership=membership_of(cast.volunteer, cast.group), reason="She."
            )

    def test_an_operator_does_it_for_others(self, cast: Cast) -> None:
        operator = UserFactory(name="Opal Example", email="opal@example.org", is_staff=True)
        give_codes(cast.coordinator)
        options = {"operator": operator.email, "reason": "Rang her."}
        call_command("reset_second_factor", cast.coordinator.email, **options)
        assert not Authenticator.objects.filter(user=cast.coordinator).exists()
        assert AuditEntry.objects.across_groups("test").filter(verb="account.factor_reset").count() == 1
        for email in (operator.email, "nobody@example.org"):
            with pytest.raises(CommandError):
                call_command("reset_second_factor", email, **options)
        with pytest.raises(CommandError):
            call_command(
                "reset_second_factor", cast.volunteer.email, operator=cast.coordinator.email, reason="I."
            )

    def test_no_session_is_left(self, cast: Cast) -> None:
        give_codes(cast.volunteer)
        for _time in range(2):
            client = Client()
            client.force_login(cast.volunteer)
        membership = membership_of(cast.volunteer, cast.group)
        reset_member_factor(person=person_for(cast.coordinator), membership=membership, reason="Lost.")
        assert client.get("/account/sessions/").status_code == 302


@pytest.mark.parametrize("name", ["mfa_login_webauthn", "mfa_reauthenticate_webauthn", "mfa_add_webauthn"])
def test_a_hostile_depth_of_brackets_is_no_more_than_a_mistake(cast: Cast, client: Client, name: str) -> None:
    give_passkey(cast.volunteer)
    if name != "mfa_login_webauthn":
        client.force_login(cast.volunteer)
    answer = client.post(reverse(name), {"credential": "[" * 5_000, "name": "Phone"})
    assert answer.status_code in {200, 302, 422}
