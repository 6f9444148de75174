"""An enquiry is led on, step by step, until somebody joins or it is put off."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils import timezone

from portal.accounts.models import Invitation, Membership
from portal.accounts.services import accept_invitation, join_with_new_account
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.people.models import Enquiry, EnquiryState, EnquiryStep, Minor, Permit
from surveys.people.services import enquiries as services
from surveys.people.services.asking import erase_enquiry
from surveys.people.services.enquiries import FirstVisit
from tests.conftest import Cast
from tests.factories import UserFactory, days_ago
from tests.people.making import YOUNG, enquiry_in, trained, under_18

pytestmark = pytest.mark.django_db
GUARDED: dict[str, Any] = {**YOUNG, "is_minor": True}


def visit_of(cast: Cast, **changes: object) -> FirstVisit:
    usual = {"day": timezone.localdate(), "site": cast.site.pk, "supervisor": cast.volunteer.pk}
    return FirstVisit(**{**usual, "message": "At nine, at the bridge.", **changes})  # type: ignore[arg-type]


def invite(cast: Cast, enquiry: Enquiry, **changes: object) -> Enquiry:
    visit = visit_of(cast, **changes)
    return services.invite_to_visit(person=cast.person("coordinator"), enquiry=enquiry, visit=visit)


def offer(cast: Cast, enquiry: Enquiry, email: str = "newt@example.org", **more: object) -> Invitation:
    person = cast.person("coordinator")
    offered = services.offer_membership(person=person, enquiry=enquiry, email=email, **more)  # type: ignore[arg-type]
    assert offered.invitation is not None
    return offered.invitation


def again(enquiry: Enquiry) -> Enquiry:
    return Enquiry.objects.across_groups("tests").get(pk=enquiry.pk)


def mails(kind: str) -> list[Message]:
    found = Message.objects.across_groups("tests").exclude(state="cancelled")
    return list(found.filter(kind=kind).order_by("created_at"))


def course(enquiry: Enquiry) -> list[str]:
    return [each.kind for each in EnquiryStep.objects.of_group(enquiry.group).filter(enquiry=enquiry)]


def test_the_whole_way_from_an_answer_to_a_member(cast: Cast) -> None:
    person, enquiry = cast.person("coordinator"), enquiry_in(cast.group)
    services.answer_enquiry(person=person, enquiry=enquiry, message="Saturdays suit us.")
    assert again(enquiry).state == "answered"
    invite(cast, enquiry)
    services.mark_came(person=person, enquiry=enquiry)
    invitation = offer(cast, enquiry)
    assert course(enquiry) == ["answered", "invited", "came", "offered"]
    user = join_with_new_account(invitation=invitation, name="Newt Brook", password="a long one indeed")
    joined = again(enquiry)
    assert joined.state == "joined"
    assert joined.membership == Membership.objects.of_group(cast.group).get(user=user)


def test_whoever_has_joined_leaves_nothing_behind_of_what_they_told(cast: Cast) -> None:
    enquiry = enquiry_in(cast.group, EnquiryState.CAME, **GUARDED)
    services.answer_enquiry(person=cast.person("coordinator"), enquiry=enquiry, message="Good.")
    until = timezone.localdate() + timedelta(days=500)
    invitation = offer(cast, enquiry, minor_until=until)
    user = join_with_new_account(invitation=invitation, name="Newt Brook", password="a long one indeed")
    joined = again(enquiry)
    told = {field: getattr(joined, field) for field in services.CONTACT_FIELDS}
    assert set(told.values()) == {""}
    assert (joined.minor_until, joined.is_minor) == (None, False)
    assert course(enquiry) == []
    assert mails("enquiry.answer") == []
    minor = Minor.objects.of_group(cast.group).get(membership__user=user)
    assert (minor.until, minor.guardian_name, minor.guardian_email) == (until, "Gwen Brook", "gwen@example.org")


def test_whoever_joins_by_another_way_is_flagged_all_the_same(cast: Cast) -> None:
    enquiry = enquiry_in(cast.group, **GUARDED)
    bogus = enquiry_in(cast.group, EnquiryState.UNCONFIRMED)
    account = UserFactory(email="Newt@example.org")
    invitation = Invitation.objects.create(
        group=cast.group, email="newt@example.org", invited_by=cast.coordinator
    )
    accept_invitation(invitation=invitation, user=account)
    assert again(enquiry).state == "joined"
    assert Minor.objects.of_group(cast.group).get(membership__user=account).until > timezone.localdate()
    assert not Enquiry.objects.of_group(cast.group).filter(pk=bogus.pk).exists()


class TestAnswering:
    def test_the_words_go_to_the_mailbox_and_the_reply_to_the_writer(self, cast: Cast) -> None:
        person = cast.person("coordinator")
        for words in ("Come on Saturday.", "Or on Sunday."):
            services.answer_enquiry(person=person, enquiry=enquiry_in_once(cast), message=words)
        first, second = mails("enquiry.answer")
        assert ("Come on Saturday." in first.text, "Or on Sunday." in second.text) == (True, True)
        assert first.reply_to == "cora@example.org"

    def test_without_an_address_it_is_only_written_down(self, cast: Cast) -> None:
        enquiry = enquiry_in(cast.group, email="")
        services.answer_enquiry(person=cast.person("coordinator"), enquiry=enquiry, message="Rang them.")
        assert mails("enquiry.answer") == []
        assert enquiry.steps.get().text == "Rang them."

    def test_an_empty_answer_is_refused_at_its_field(self, cast: Cast) -> None:
        with pytest.raises(NotPossible) as refused:
            services.answer_enquiry(
                person=cast.person("coordinator"), enquiry=enquiry_in(cast.group), message=" "
            )
        assert refused.value.field == "message"


def enquiry_in_once(cast: Cast) -> Enquiry:
    return Enquiry.objects.of_group(cast.group).select_related("group").first() or enquiry_in(cast.group)


class TestTheFirstVisit:
    def test_newcomer_guardian_and_supervisor_are_told(self, cast: Cast) -> None:
        invite(cast, enquiry_in(cast.group, **GUARDED))
        [told], [guardian], [supervisor] = (
            mails(f"enquiry.{each}") for each in ("visit", "visit-guardian", "supervisor")
        )
        assert (told.to_address, guardian.to_address) == ("newt@example.org", "gwen@example.org")
        assert supervisor.to_address == "vera@example.org"
        assert "At nine, at the bridge." in told.text
        assert "the visit is called off if the river is high" in told.text
        assert "01632 960111" in supervisor.text
        assert "under 18" in supervisor.text

    def test_a_second_invitation_replaces_the_first_and_is_told_as_well(self, cast: Cast) -> None:
        enquiry = enquiry_in(cast.group)
        invite(cast, enquiry)
        later = timezone.localdate() + timedelta(days=3)
        invite(cast, enquiry, day=later)
        assert again(enquiry).first_visit_on == later
        assert len(mails("enquiry.visit")) == 2

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"day": days_ago(1)}, "day"),
            ({"site": uuid4()}, "site"),
            ({"supervisor": uuid4()}, "supervisor"),
        ],
        ids=["past", "site", "supervisor"],
    )
    def test_it_names_what_cannot_be(self, cast: Cast, changes: dict[str, object], field: str) -> None:
        with pytest.raises(NotPossible) as refused:
            invite(cast, enquiry_in(cast.group), **changes)
        assert refused.value.field == field

    def test_a_closed_or_foreign_site_is_none(self, cast: Cast) -> None:
        cast.site.closed_on = days_ago(1)
        cast.site.save()
        for site in (cast.site, cast.neighbour_site):
            with pytest.raises(NotPossible, match="open site"):
                invite(cast, enquiry_in(cast.group), site=site.pk)

    def test_nobody_under_18_looks_after_newcomers(self, cast: Cast) -> None:
        under_18(cast.volunteer, cast.group, days=1)
        with pytest.raises(NotPossible, match="Somebody else"):
            invite(cast, enquiry_in(cast.group))
        invite(cast, enquiry_in(cast.group), day=timezone.localdate() + timedelta(days=1))

    def test_where_trainings_for_it_are_kept_the_supervisor_needs_one(self, cast: Cast) -> None:
        trained(cast.other_volunteer, cast.group, Permit.LEAD)
        with pytest.raises(NotPossible, match="Vera Example has no training"):
            invite(cast, enquiry_in(cast.group))
        assert invite(cast, enquiry_in(cast.group), supervisor=cast.other_volunteer.pk).state == "invited"

    def test_nobody_has_come_before_the_day(self, cast: Cast) -> None:
        tomorrow = timezone.localdate() + timedelta(days=1)
        enquiry = enquiry_in(cast.group, EnquiryState.INVITED, first_visit_on=tomorrow)
        with pytest.raises(NotPossible, match="still to come"):
            services.mark_came(person=cast.person("coordinator"), enquiry=enquiry)


class TestOfferingAPlace:
    @pytest.mark.parametrize("days", [None, 0])
    def test_of_somebody_under_18_the_birthday_is_needed(self, cast: Cast, days: int | None) -> None:
        until = None if days is None else timezone.localdate() + timedelta(days=days)
        with pytest.raises(NotPossible) as refused:
            offer(cast, enquiry_in(cast.group, EnquiryState.CAME, **GUARDED), minor_until=until)
        assert refused.value.field == "minor_until"

    def test_a_member_is_not_invited_again(self, cast: Cast) -> None:
        with pytest.raises(NotPossible) as refused:
            offer(cast, enquiry_in(cast.group, EnquiryState.CAME), "owen@example.org")
        assert refused.value.field == "email"

    def test_a_mistyped_address_cannot_join_once_it_is_put_right(self, cast: Cast) -> None:
        enquiry = enquiry_in(cast.group, EnquiryState.CAME)
        wrong = offer(cast, enquiry, "mewt@example.org")
        right = offer(cast, enquiry)
        wrong.refresh_from_db()
        assert (wrong.is_open, right.is_open) == (False, True)

    def test_what_is_erased_takes_its_open_invitation_along(self, cast: Cast) -> None:
        enquiry = enquiry_in(cast.group, EnquiryState.CAME)
        invitation = offer(cast, enquiry)
        erase_enquiry(enquiry=enquiry)
        assert not Invitation.objects.of_group(cast.group).filter(pk=invitation.pk).exists()
        assert mails("invitation") == []


class TestPuttingOff:
    def test_the_open_invitation_ends_and_nobody_is_written_to(self, cast: Cast) -> None:
        enquiry = enquiry_in(cast.group, EnquiryState.CAME)
        invitation = offer(cast, enquiry)
        before = Message.objects.across_groups("tests").count()
        services.decline_enquiry(person=cast.person("coordinator"), enquiry=enquiry, reason="Moves away.")
        invitation.refresh_from_db()
        assert not invitation.is_open
        assert again(enquiry).state == "not_now"
        assert Message.objects.across_groups("tests").count() == before

    def test_a_reason_is_needed(self, cast: Cast) -> None:
        with pytest.raises(NotPossible) as refused:
            services.decline_enquiry(
                person=cast.person("coordinator"), enquiry=enquiry_in(cast.group), reason=""
            )
        assert refused.value.field == "reason"

    def test_it_is_taken_up_again_and_its_time_begins_anew(self, cast: Cast) -> None:
        enquiry = enquiry_in(cast.group, EnquiryState.NOT_NOW, changed_at=timezone.now() - timedelta(days=100))
        services.reopen_enquiry(person=cast.person("coordinator"), enquiry=enquiry)
        found = again(enquiry)
        assert found.state == "asked"
        assert timezone.now() - found.changed_at < timedelta(minutes=1)


STEPS: dict[str, Callable[[Cast, Enquiry, str], object]] = {
    "answer": lambda cast, enquiry, who: services.answer_enquiry(
        person=cast.person(who), enquiry=enquiry, message="Good."
    ),
    "invite": lambda cast, enquiry, who: services.invite_to_visit(
        person=cast.person(who), enquiry=enquiry, visit=visit_of(cast)
    ),
    "came": lambda cast, enquiry, who: services.mark_came(person=cast.person(who), enquiry=enquiry),
    "offer": lambda cast, enquiry, who: services.offer_membership(
        person=cast.person(who), enquiry=enquiry, email="newt@example.org"
    ),
    "decline": lambda cast, enquiry, who: services.decline_enquiry(
        person=cast.person(who), enquiry=enquiry, reason="No."
    ),
    "reopen": lambda cast, enquiry, who: services.reopen_enquiry(person=cast.person(who), enquiry=enquiry),
}
POSSIBLE = {
    "answer": {"asked", "answered", "invited", "came"},
    "invite": {"asked", "answered", "invited", "came"},
    "came": {"invited"},
    "offer": {"came"},
    "decline": {"asked", "answered", "invited", "came"},
    "reopen": {"not_now"},
}


@pytest.mark.parametrize("step", STEPS)
def test_each_step_is_possible_in_its_states_alone(cast: Cast, step: str) -> None:
    done = set()
    for number, state in enumerate(EnquiryState.values):
        enquiry = enquiry_in(cast.group, state, email=f"newt{number}@example.org")
        with suppress(NotPossible):
            STEPS[step](cast, enquiry, "coordinator")
            done.add(state)
    assert done == POSSIBLE[step]


@pytest.mark.parametrize("step", STEPS)
def test_only_a_coordinator_of_the_group_leads_on(cast: Cast, step: str) -> None:
    for who, refusal in (("volunteer", PermissionDenied), ("neighbour_coordinator", Http404)):
        with pytest.raises(refusal):
            STEPS[step](cast, enquiry_in(cast.group), who)


@pytest.mark.parametrize("step", STEPS)
def test_what_was_erased_meanwhile_is_said_kindly(cast: Cast, step: str) -> None:
    enquiry = enquiry_in(cast.group)
    Enquiry.objects.of_group(cast.group).filter(pk=enquiry.pk).delete()
    with pytest.raises(NotPossible, match="has been erased"):
        STEPS[step](cast, enquiry, "coordinator")
