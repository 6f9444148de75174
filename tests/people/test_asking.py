"""Somebody asks to have a go: the public form, the links in e-mails, and what is erased by itself."""

from __future__ import annotations

import re
from datetime import date, timedelta
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
from surveys.people.models import Enquiry, EnquiryAttempt, EnquiryState, Minor
from surveys.people.services.asking import Asked, ask_to_join
from surveys.people.services.erasing import erase_what_is_due
from surveys.people.services.opening import write_enquiry
from surveys.people.terms import GROUP_AN_HOUR, SENDER_AN_HOUR
from tests.conftest import Cast
from tests.people.making import ASKED, YOUNG, YOUNG_FORM, enquiry_in, under_18

pytestmark = pytest.mark.django_db
COORDINATORS = ["cole@example.org", "cora@example.org"]


@pytest.fixture(autouse=True)
def _in_public(cast: Cast) -> None:
    Group.objects.update(is_public=True)


def send(group: Group, sender: str = "192.0.2.1", **changes: str) -> Any:
    address = reverse("enquiry_ask", args=[group.slug])
    return Client(REMOTE_ADDR=sender).post(address, {**ASKED, **changes})


def press(name: str, enquiry: Enquiry) -> Any:
    return Client().post(reverse(name, args=[ENQUIRY_LINK.make(enquiry.pk)]))


def rows() -> list[Enquiry]:
    return list(Enquiry.objects.across_groups("tests").order_by("asked_at"))


def owed(kind: str = "enquiry.") -> list[Message]:
    found = Message.objects.across_groups("tests").filter(kind__startswith=kind)
    return list(found.order_by("to_address", "created_at"))


class TestThePublicForm:
    def test_who_asks_for_no_language_is_spoken_to_as_the_group(self, cast: Cast) -> None:
        Group.objects.update(language="de")
        page = Client().get(reverse("enquiry_ask", args=[cast.group.slug])).content.decode()
        assert '<html lang="de"' in page

    def test_it_keeps_what_was_said_and_asks_the_mailbox(self, cast: Cast) -> None:
        assert send(cast.group, **YOUNG_FORM).status_code == 200
        [made] = rows()
        assert (made.state, made.name, made.wish) == ("unconfirmed", "Newt Brook", ASKED["wish"])
        assert (made.is_minor, made.guardian_phone) == (True, "01632 960222")
        [mail] = owed()
        assert (mail.kind, mail.to_address) == ("enquiry.confirm", "newt@example.org")
        [token] = re.findall(r"/enquiry/([^/\s]+)/", mail.text)
        assert ENQUIRY_LINK.read_id(token) == made.pk

    def test_nothing_of_a_guardian_is_kept_of_an_adult(self, cast: Cast) -> None:
        send(cast.group, **{**YOUNG, "is_minor": ""})
        assert [each.guardian_name + each.guardian_phone for each in rows()] == [""]

    def test_a_program_that_fills_in_everything_is_thanked_and_forgotten(self, cast: Cast) -> None:
        answer = send(cast.group, website="https://example.org")
        assert answer.content.decode() == send(cast.group).content.decode()
        assert len(rows()) == 1
        assert len(owed()) == 1

    def test_the_answer_is_the_same_whatever_is_known_of_the_address(self, cast: Cast) -> None:
        enquiry_in(cast.group, email="known@example.org")
        addresses = ["new@example.org", "known@example.org", cast.volunteer.email]
        pages = {send(cast.group, email=each).content.decode() for each in addresses}
        assert len(pages) == 1
        assert [(each.to_address, each.kind) for each in owed()] == [
            ("known@example.org", "enquiry.confirm"),
            ("new@example.org", "enquiry.confirm"),
            ("vera@example.org", "enquiry.member"),
        ]
        assert len(rows()) == 3

    @pytest.mark.parametrize(
        ("month", "until"), [("5", (5 + 1, 2)), ("12", (1, 3))], ids=["in the year", "over its end"]
    )
    def test_who_is_under_18_counts_so_to_the_end_of_the_month(
        self, cast: Cast, month: str, until: tuple[int, int]
    ) -> None:
        send(cast.group, **{**YOUNG_FORM, "adult_month": month})
        [made] = rows()
        assert made.minor_until == date(timezone.localdate().year + until[1], until[0], 1)

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"adult_month": ""}, "adult_month"),
            ({"adult_year": ""}, "adult_year"),
            ({"adult_month": "13"}, "adult_month"),
            ({"adult_year": "1999"}, "adult_year"),
            ({"adult_year": "PAST"}, "adult_year"),
        ],
    )
    def test_a_month_that_cannot_be_is_told_at_its_field(
        self, cast: Cast, changes: dict[str, str], field: str
    ) -> None:
        now = timezone.localdate()
        if changes.get("adult_year") == "PAST":
            # The month before this one; in January that is last year's, which is no choice at all.
            changes = {"adult_month": str((now.month - 2) % 12 + 1), "adult_year": str(now.year)}
            changes["adult_year"] = str(now.year - (now.month == 1))
        answer = send(cast.group, **{**YOUNG_FORM, **changes})
        assert answer.status_code == 422
        assert field in answer.context["form"].errors
        assert ASKED["wish"] in answer.content.decode()

    def test_a_mailbox_is_written_to_three_times_a_day(self, cast: Cast) -> None:
        for number in range(5):
            ask_to_join(group=cast.group, asked=Asked(f"Newt {number}", "newt@example.org"))
        ask_to_join(group=cast.neighbour, asked=Asked("Newt", "NEWT@example.org"))
        assert len(owed("enquiry.confirm")) == 3

    def test_a_group_that_shows_nothing_in_public_takes_no_enquiries(self, cast: Cast) -> None:
        Group.objects.filter(pk=cast.group.pk).update(is_public=False)
        assert send(cast.group).status_code == 404

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"email": ""}, "email"),
            ({"email": "newt"}, "email"),
            ({"name": ""}, "name"),
            ({"agreed": ""}, "agreed"),
            ({"is_minor": "on"}, "guardian_name"),
            ({"is_minor": "on"}, "adult_month"),
            ({"is_minor": "on", "guardian_name": "Gwen Brook"}, "guardian_phone"),
        ],
    )
    def test_a_mistake_is_named_at_its_field_and_nothing_typed_is_lost(
        self, cast: Cast, changes: dict[str, str], field: str
    ) -> None:
        answer = send(cast.group, **changes)
        assert answer.status_code == 422
        assert field in answer.context["form"].errors
        assert ASKED["wish"] in answer.content.decode()
        assert rows() == []


class TestTooOften:
    def test_one_sender_is_asked_to_wait_and_keeps_the_words(self, cast: Cast) -> None:
        statuses = [
            send(cast.group, email=f"n{number}@example.org").status_code for number in range(SENDER_AN_HOUR)
        ]
        late = send(cast.group, email="late@example.org")
        assert set(statuses) == {200}
        assert late.status_code == 429
        assert ASKED["wish"] in late.content.decode()
        assert len(rows()) == SENDER_AN_HOUR

    def test_another_sender_is_not_held_up(self, cast: Cast) -> None:
        for _each in range(SENDER_AN_HOUR):
            send(cast.group, name="")
        assert send(cast.group, "192.0.2.7").status_code == 200

    def test_many_senders_together_are_held_up_as_well(self, cast: Cast) -> None:
        EnquiryAttempt.objects.bulk_create(
            EnquiryAttempt(group=cast.group, sender=str(number)) for number in range(GROUP_AN_HOUR)
        )
        assert send(cast.group).status_code == 429
        assert send(cast.neighbour).status_code == 200

    def test_an_hour_later_it_is_taken_again(self, cast: Cast) -> None:
        for _each in range(SENDER_AN_HOUR):
            send(cast.group, name="")
        attempts = EnquiryAttempt.objects.of_group(cast.group)
        assert "192.0.2.1" not in {each.sender for each in attempts}
        attempts.update(at=timezone.now() - timedelta(minutes=61))
        assert send(cast.group).status_code == 200


class TestTheLinks:
    def test_looking_changes_nothing(self, cast: Cast) -> None:
        made = enquiry_in(cast.group, EnquiryState.UNCONFIRMED)
        answer = Client().get(reverse("enquiry_link", args=[ENQUIRY_LINK.make(made.pk)]))
        assert "Newt Brook" in answer.content.decode()
        assert rows()[0].state == "unconfirmed"

    def test_a_press_confirms_and_tells_the_coordinators_without_naming_anybody(self, cast: Cast) -> None:
        made = enquiry_in(cast.group, EnquiryState.UNCONFIRMED)
        twin = enquiry_in(cast.group, EnquiryState.UNCONFIRMED, email="NEWT@example.org")
        assert press("enquiry_confirm", made).status_code == 302
        press("enquiry_confirm", made)
        assert [(each.pk, each.state) for each in rows()] == [(made.pk, "asked")]
        assert [each.to_address for each in owed("enquiry.new")] == COORDINATORS
        assert not [each for each in owed("enquiry.new") if "Newt" in each.text + each.html + each.subject]
        assert press("enquiry_confirm", twin).status_code == 410

    def test_a_press_erases_all_of_it(self, cast: Cast) -> None:
        send(cast.group)
        [made] = rows()
        answer = press("enquiry_erase", made)
        assert answer.status_code == 200
        assert rows() == []
        assert owed() == []
        assert press("enquiry_erase", made).status_code == 410
        trail = AuditEntry.objects.of_group(cast.group).filter(object_id=made.pk)
        assert {each.verb for each in trail} == {"enquiry.asked", "enquiry.erased"}
        assert not [each for each in trail if "Newt" in f"{each.actor_name} {each.changes} {each.reason}"]

    def test_a_forged_link_opens_nothing(self, cast: Cast) -> None:
        made = enquiry_in(cast.group)
        token = ENQUIRY_LINK.make(made.pk)[:-2] + "xx"
        assert Client().get(reverse("enquiry_link", args=[token])).status_code == 404

    def test_the_link_of_somebody_who_joined_is_dead(self, cast: Cast) -> None:
        made = enquiry_in(cast.group, EnquiryState.JOINED)
        assert press("enquiry_erase", made).status_code == 410
        assert len(rows()) == 1


class TestWritingDown:
    def test_a_member_writes_down_who_asked_at_the_bank(self, cast: Cast) -> None:
        person = cast.person("volunteer")
        made = write_enquiry(person=person, group=cast.group, asked=Asked("Newt", "newt@example.org"))
        assert (made.state, made.taken_by) == ("asked", cast.volunteer)
        assert [each.kind for each in owed()] == ["enquiry.new", "enquiry.new", "enquiry.written-down"]

    def test_a_telephone_number_is_enough(self, cast: Cast) -> None:
        person = cast.person("coordinator")
        write_enquiry(person=person, group=cast.group, asked=Asked("Newt", phone="01632 960111"))
        # Whoever wrote it down need not be told.
        assert [each.to_address for each in owed()] == ["cole@example.org"]

    @pytest.mark.parametrize("email", ["OWEN@example.org", "known@example.org"])
    def test_somebody_known_is_not_written_down_twice(self, cast: Cast, email: str) -> None:
        enquiry_in(cast.group, email="Known@example.org")
        with pytest.raises(NotPossible) as refused:
            write_enquiry(person=cast.person("volunteer"), group=cast.group, asked=Asked("Newt", email))
        assert refused.value.field == "email"
        assert len(rows()) == 1


class TestTheSweep:
    @pytest.mark.parametrize(
        ("state", "days", "stays"),
        [
            ("unconfirmed", 6, True),
            ("unconfirmed", 8, False),
            ("asked", 179, True),
            ("asked", 181, False),
            ("invited", 181, False),
            ("not_now", 181, False),
            ("joined", 181, True),
        ],
    )
    def test_it_erases_what_was_kept_for_long_enough(
        self, cast: Cast, state: str, days: int, stays: bool
    ) -> None:
        send(cast.group, email="other@example.org")
        made = enquiry_in(cast.group, state)
        ago = timezone.now() - timedelta(days=days)
        Enquiry.objects.of_group(cast.group).filter(pk=made.pk).update(changed_at=ago)
        assert erase_what_is_due(timezone.now()) == int(not stays)
        assert (made.pk in {each.pk for each in rows()}) is stays
        assert len(owed()) == 1

    def test_it_takes_the_mails_about_it_along(self, cast: Cast) -> None:
        send(cast.group)
        assert len(owed()) == 1
        Enquiry.objects.of_group(cast.group).update(changed_at=timezone.now() - timedelta(days=8))
        erase_what_is_due(timezone.now())
        assert owed() == []

    def test_senders_go_after_a_day_and_guardians_at_eighteen(self, cast: Cast) -> None:
        send(cast.group, name="")
        under_18(cast.volunteer, cast.group, days=1)
        under_18(cast.other_volunteer, cast.group, days=0)
        erase_what_is_due(timezone.now())
        assert EnquiryAttempt.objects.of_group(cast.group).count() == 1
        assert [each.membership.user for each in Minor.objects.of_group(cast.group)] == [cast.volunteer]
        EnquiryAttempt.objects.of_group(cast.group).update(at=timezone.now() - timedelta(hours=25))
        erase_what_is_due(timezone.now())
        assert not EnquiryAttempt.objects.of_group(cast.group).exists()

    def test_the_clock_calls_it(self) -> None:
        tasks = {each["task"] for each in settings.CELERY_BEAT_SCHEDULE.values()}
        assert {"portal.privacy.tasks.let_go", "surveys.people.tasks.remind_of_lapsing"} <= tasks
