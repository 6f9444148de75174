"""Asking to be erased in two steps, stopping it, by letter, and choosing for how long things are kept."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.accounts.models import Membership, User
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from portal.privacy.erasing import erase_whoever_is_due
from portal.privacy.models import WAITING_DAYS, Erasure, KeepingTerms
from portal.privacy.register import KEPT
from portal.privacy.services import STOP_LINK, ask_erasure, ask_erasure_for, stop_erasure
from portal.privacy.tasks import let_go
from tests.conftest import Cast
from tests.factories import MembershipFactory
from tests.people.making import membership_of, under_18
from tests.privacy.making import sign_in


def owed() -> list[Message]:
    return list(Message.objects.across_groups("test").filter(kind="account.erasure").order_by("created_at"))


def test_it_takes_two_steps_and_a_week(cast: Cast, client: Client) -> None:
    sign_in(client, cast.volunteer)
    address = reverse("erasure_ask")
    page = client.get(address).content.decode()
    assert all(str(each.what) in page for each in KEPT if "'" not in str(each.what))
    assert client.post(address).status_code == 422
    assert not Erasure.objects.exists()
    assert client.post(address, {"understood": "on"})["Location"] == address
    assert "You are going to be erased" in client.get(address).content.decode()
    (mail,) = owed()
    assert (mail.to_address, mail.group) == (cast.volunteer.email, None)
    assert erase_whoever_is_due(timezone.now() + timedelta(days=WAITING_DAYS, minutes=-5)) == 0
    assert User.objects.get(pk=cast.volunteer.pk).is_active
    assert erase_whoever_is_due(timezone.now() + timedelta(days=WAITING_DAYS, minutes=5)) == 1
    assert not User.objects.get(pk=cast.volunteer.pk).is_active
    assert client.get(address).status_code == 302, "whoever is erased is signed out"
    assert erase_whoever_is_due(timezone.now() + timedelta(days=99)) == 0


def test_the_clock_erases_whoever_is_due(cast: Cast) -> None:
    made = ask_erasure(person=cast.person("volunteer"), user=cast.volunteer)
    assert let_go() == 0
    Erasure.objects.update(due_at=timezone.now())
    assert let_go() >= 1
    made.refresh_from_db()
    assert made.done_at


def test_the_link_in_the_mail_stops_it_without_a_sign_in(cast: Cast, client: Client) -> None:
    made = ask_erasure(person=cast.person("volunteer"), user=cast.volunteer)
    address = reverse("erasure_stop", args=[STOP_LINK.make(made.pk)])
    assert address in owed()[0].text
    assert client.get(address).status_code == 200
    assert not Erasure.objects.get().stopped_at, "a mail program that looks at the link stops nothing"
    assert client.post(address).status_code == 200
    assert client.get(address).status_code == 410
    assert client.get(reverse("erasure_stop", args=["forged"])).status_code == 404
    assert erase_whoever_is_due(timezone.now() + timedelta(days=99)) == 0
    assert User.objects.get(pk=cast.volunteer.pk).name == cast.volunteer.name


def test_who_asks_twice_is_written_to_once_and_may_ask_anew(cast: Cast) -> None:
    person = cast.person("volunteer")
    first = ask_erasure(person=person, user=cast.volunteer)
    assert ask_erasure(person=person, user=cast.volunteer) == first
    assert len(owed()) == 1
    stop_erasure(first)
    assert ask_erasure(person=person, user=cast.volunteer) != first


def test_a_guardian_is_told_as_well(cast: Cast) -> None:
    young = under_18(cast.volunteer, cast.group)
    young.guardian_email = "gwen@example.org"
    young.save()
    ask_erasure(person=cast.person("volunteer"), user=cast.volunteer)
    assert [each.to_address for each in owed()] == [cast.volunteer.email, "gwen@example.org"]


def test_the_only_coordinator_is_told_to_hand_over_first(cast: Cast, client: Client) -> None:
    Membership.objects.of_group(cast.group).filter(user=cast.second_coordinator).update(left_at=timezone.now())
    sign_in(client, cast.coordinator)
    answer = client.post(reverse("erasure_ask"), {"understood": "on"})
    assert answer.status_code == 422
    assert "Name another one first" in answer.content.decode()
    assert not Erasure.objects.exists()


def test_a_duty_taken_on_meanwhile_only_delays_it(cast: Cast) -> None:
    ask_erasure(person=cast.person("second_coordinator"), user=cast.second_coordinator)
    rows = Membership.objects.of_group(cast.group).filter(user=cast.coordinator)
    rows.update(left_at=timezone.now())
    assert erase_whoever_is_due(timezone.now() + timedelta(days=8)) == 0
    rows.update(left_at=None)
    assert erase_whoever_is_due(timezone.now() + timedelta(days=8)) == 1


def test_a_coordinator_has_somebody_erased_who_wrote_a_letter(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    membership = membership_of(cast.volunteer, cast.group)
    address = reverse("person_erase", args=[cast.group.slug, membership.pk])
    assert client.post(address, {"understood": "on"}).status_code == 422
    answer = client.post(address, {"understood": "on", "reason": "Letter of 3 May"})
    assert answer.status_code == 302
    assert "Cora Example has asked" in owed()[0].text
    entry = AuditEntry.objects.across_groups("test").get(verb="account.erasure_asked")
    assert (entry.actor, entry.reason) == (cast.coordinator, "Letter of 3 May")


def test_nobody_is_erased_over_the_head_of_another_group(cast: Cast) -> None:
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    coordinator = cast.person("coordinator")
    for user, why in ((cast.volunteer, "Another group"), (cast.coordinator, "your own page")):
        with pytest.raises(ValidationError, match=why):
            ask_erasure_for(person=coordinator, membership=membership_of(user, cast.group), reason="Letter")
    assert not Erasure.objects.exists()


def test_a_group_chooses_fewer_days_and_never_more(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    address = reverse("keeping_terms", args=[cast.group.slug])
    assert client.post(address, {"return_days": 31, "mail_days": 90, "draft_days": 0}).status_code == 422
    assert not KeepingTerms.objects.of_group(cast.group).exists()
    client.post(address, {"return_days": 7, "mail_days": 90, "draft_days": 180})
    assert KeepingTerms.objects.of_group(cast.group).get().return_days == 7
    entry = AuditEntry.objects.of_group(cast.group).get(verb="group.keeping")
    assert entry.changes == {"return_days": [30, 7]}
