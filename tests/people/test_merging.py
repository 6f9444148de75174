"""Whoever asks twice is one enquiry, and nothing of what they wrote is lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.accounts.models import Group
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.people.links import ENQUIRY_LINK
from surveys.people.models import Enquiry, EnquiryAttempt, EnquiryState, EnquiryStep, StepKind
from surveys.people.services import enquiries as services
from surveys.people.services.asking import Asked, ask_to_join
from tests.conftest import Cast
from tests.people.making import ASKED, YOUNG, enquiry_in

pytestmark = pytest.mark.django_db
SECOND = Asked("Newt B.", ASKED["email"], "01632 960999", "Sundays suit me better.")


def rows(cast: Cast) -> list[Enquiry]:
    return list(Enquiry.objects.of_group(cast.group))


def course(enquiry: Enquiry) -> list[tuple[str, str]]:
    steps = EnquiryStep.objects.of_group(enquiry.group).filter(enquiry=enquiry)
    return [(each.kind, each.text) for each in steps]


def ask_again(cast: Cast) -> Any:
    """Ask on the public page and press the button in the mail; the answer is the page after it."""
    ask_to_join(group=cast.group, asked=SECOND)
    second = Enquiry.objects.of_group(cast.group).get(state=EnquiryState.UNCONFIRMED)
    return Client().post(reverse("enquiry_confirm", args=[ENQUIRY_LINK.make(second.pk)]), follow=True)


def test_asked_again_it_joins_what_is_open_and_is_told(cast: Cast) -> None:
    first = enquiry_in(cast.group, EnquiryState.ANSWERED, email=ASKED["email"].upper(), phone="")
    page = ask_again(cast).content.decode()
    assert "You had asked before" in page
    assert rows(cast) == [first]
    first.refresh_from_db()
    assert (first.state, first.phone) == (EnquiryState.ANSWERED, SECOND.phone)
    assert (StepKind.ASKED_AGAIN, SECOND.wish) in course(first)
    told = Message.objects.across_groups("test").filter(kind="enquiry.asked-again")
    assert {each.to_address for each in told} == {"cora@example.org", "cole@example.org"}
    assert not any(SECOND.wish in each.text for each in told)


def test_unconfirmed_it_changes_nothing_of_what_is_open(cast: Cast) -> None:
    first = enquiry_in(cast.group, email=ASKED["email"], phone="")
    ask_to_join(group=cast.group, asked=SECOND)
    first.refresh_from_db()
    assert (first.phone, course(first)) == ("", [])


def test_said_once_to_be_under_18_they_stay_so(cast: Cast) -> None:
    first = enquiry_in(cast.group, email=ASKED["email"])
    young = {name: value for name, value in YOUNG.items() if name != "is_minor"}
    until = timezone.localdate() + timedelta(days=500)
    ask_to_join(
        group=cast.group, asked=Asked("Newt", ASKED["email"], is_minor=True, minor_until=until, **young)
    )
    second = Enquiry.objects.of_group(cast.group).get(state=EnquiryState.UNCONFIRMED)
    Client().post(reverse("enquiry_confirm", args=[ENQUIRY_LINK.make(second.pk)]))
    first.refresh_from_db()
    assert (first.is_minor, first.minor_until, first.guardian_name) == (True, until, "Gwen Brook")


def test_taken_up_again_it_joins_the_one_that_is_open(cast: Cast) -> None:
    put_off = enquiry_in(cast.group, EnquiryState.NOT_NOW, email=ASKED["email"], wish="Once, in spring.")
    open_one = enquiry_in(cast.group, EnquiryState.ANSWERED, email=ASKED["email"])
    client = Client()
    client.force_login(cast.coordinator)
    answer = client.post(reverse("enquiry_reopen", args=[cast.group.slug, put_off.pk]))
    assert answer.url == reverse("enquiry_detail", args=[cast.group.slug, open_one.pk])  # type: ignore[attr-defined]
    assert rows(cast) == [open_one]
    assert (StepKind.ASKED_AGAIN, "Once, in spring.") in course(open_one)


def test_invited_to_join_at_an_address_that_asked_too_they_are_one(cast: Cast) -> None:
    came = enquiry_in(cast.group, EnquiryState.CAME, email="other@example.org")
    enquiry_in(cast.group, email=ASKED["email"])
    services.offer_membership(person=cast.person("coordinator"), enquiry=came, email=ASKED["email"])
    assert rows(cast) == [came]


def test_the_same_address_in_another_group_stays_apart(cast: Cast) -> None:
    enquiry_in(cast.neighbour, email=ASKED["email"])
    assert "the coordinators have your enquiry now" in ask_again(cast).content.decode()
    assert len(rows(cast)) == Enquiry.objects.of_group(cast.neighbour).count() == 1


def test_two_without_an_address_are_two_people(cast: Cast) -> None:
    put_off = enquiry_in(cast.group, EnquiryState.NOT_NOW, email="")
    enquiry_in(cast.group, email="")
    services.reopen_enquiry(person=cast.person("coordinator"), enquiry=put_off)
    assert len(rows(cast)) == 2


@pytest.mark.parametrize("days", [0, 19 * 366])
def test_an_invitation_needs_a_day_on_which_somebody_turns_18(cast: Cast, days: int) -> None:
    young = enquiry_in(cast.group, EnquiryState.CAME, **{**YOUNG, "is_minor": True})
    day = timezone.localdate() + timedelta(days=days)
    with pytest.raises(NotPossible) as refused:
        services.offer_membership(
            person=cast.person("coordinator"), enquiry=young, email=ASKED["email"], minor_until=day
        )
    assert refused.value.field == "minor_until"


def test_the_trail_of_an_invitation_names_no_address(cast: Cast) -> None:
    came = enquiry_in(cast.group, EnquiryState.CAME)
    services.offer_membership(person=cast.person("coordinator"), enquiry=came, email=ASKED["email"])
    trail = AuditEntry.objects.across_groups("test").filter(group=cast.group)
    assert "invitation.sent" in {each.verb for each in trail}
    assert not [each for each in trail if ASKED["email"] in f"{each.changes} {each.reason}"]


@pytest.mark.parametrize(("proxies", "senders"), [(0, 1), (1, 2)])
def test_a_header_tells_senders_apart_only_where_a_proxy_is_said_to_write_it(
    cast: Cast, monkeypatch: pytest.MonkeyPatch, proxies: int, senders: int
) -> None:
    Group.objects.update(is_public=True)
    monkeypatch.setattr(settings, "ALLAUTH_TRUSTED_PROXY_COUNT", proxies)
    for address in ("198.51.100.1", "198.51.100.2"):
        # What stands before the proxy's own entry anybody may have made up.
        headers = {"X-Forwarded-For": f"203.0.113.9, {address}"}
        Client().post(reverse("enquiry_ask", args=[cast.group.slug]), {}, headers=headers)
    found = EnquiryAttempt.objects.of_group(cast.group).values_list("sender", flat=True)
    assert len(set(found)) == senders
