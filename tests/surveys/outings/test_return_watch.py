"""The clock of safe returns: the right people at the right minute, once, and after an outage as well."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from portal.accounts.models import Membership
from portal.outbox.models import Message, State
from surveys.models import ReturnEvent, ReturnNotice, SafeReturn
from surveys.models.returns import Step
from surveys.services import return_watch
from surveys.services.return_watch import on_return_message_failed, take_steps, watch_returns
from surveys.services.safe_returns import end_safe_return
from tests.conftest import Cast
from tests.surveys.outings.returning import OUTSIDER, begin_return, course, fresh, mails_to, minutes_after

pytestmark = pytest.mark.django_db
SHORE = OUTSIDER["named_email"]
PAIR = ("vera@example.org", "owen@example.org")
COORDINATORS = ("cora@example.org", "cole@example.org")


@pytest.fixture
def begun(cast: Cast) -> SafeReturn:
    return begin_return(cast)


def sweep_at(moment: datetime) -> int:
    with time_machine.travel(moment, tick=False):
        return watch_returns()


def sweep(begun: SafeReturn, minutes: float) -> int:
    """The sweep so many minutes after the time expected."""
    return sweep_at(minutes_after(begun.expected_at, minutes))


def told(begun: SafeReturn) -> dict[str, int]:
    """How many notices of an overdue return each has had."""
    notices = ReturnNotice.objects.of_group(begun.group).filter(safe_return=begun).exclude(step=Step.NONE)
    found: dict[str, int] = {}
    for each in notices:
        found[each.email] = found.get(each.email, 0) + 1
    return found


def notes(begun: SafeReturn) -> dict[str, str]:
    events = ReturnEvent.objects.of_group(begun.group).filter(safe_return=begun)
    return {each.kind: each.note for each in events}


class TestTheSteps:
    @pytest.mark.parametrize(
        ("minutes", "kinds"),
        [
            (-1, []),
            (0, ["reminded"]),
            (14, ["reminded"]),
            (15, ["reminded", "again"]),
            (29, ["reminded", "again"]),
            (30, ["reminded", "again", "coordinators"]),
            (44, ["reminded", "again", "coordinators"]),
            (45, ["reminded", "again", "coordinators", "named"]),
            (300, ["reminded", "again", "coordinators", "named"]),
        ],
    )
    def test_each_comes_at_its_minute(self, begun: SafeReturn, minutes: int, kinds: list[str]) -> None:
        for minute in range(-1, minutes + 1):
            sweep(begun, minute)
        assert course(begun) == ["started", *kinds]

    def test_each_reaches_the_people_it_is_for_and_nobody_else(self, begun: SafeReturn) -> None:
        sweep(begun, 0)
        assert told(begun) == dict.fromkeys(PAIR, 1)
        sweep(begun, 15)
        assert told(begun) == dict.fromkeys(PAIR, 2)
        sweep(begun, 30)
        assert told(begun) == dict.fromkeys(PAIR, 2) | dict.fromkeys(COORDINATORS, 1)
        sweep(begun, 45)
        assert told(begun) == dict.fromkeys(PAIR, 2) | dict.fromkeys(COORDINATORS, 1) | {SHORE: 1}

    def test_a_second_sweep_in_the_same_minute_does_nothing(self, begun: SafeReturn) -> None:
        assert sweep(begun, 0) == 1
        assert sweep(begun, 0) == 0
        assert told(begun) == dict.fromkeys(PAIR, 1)

    def test_after_the_last_step_nothing_is_left_to_watch(self, begun: SafeReturn) -> None:
        sweep(begun, 45)
        assert fresh(begun).next_step_at is None
        assert sweep(begun, 500) == 0

    def test_coordinators_who_are_out_themselves_are_not_told_as_such(self, cast: Cast) -> None:
        begun = begin_return(cast, partner=cast.coordinator.pk)
        sweep(begun, 30)
        assert told(begun) == {"vera@example.org": 1, "cora@example.org": 1, "cole@example.org": 1}
        kinds = {mail.kind for mail in mails_to("cora@example.org")}
        assert kinds == {"return.pair"}

    def test_it_says_so_where_no_coordinator_stayed_on_shore(self, cast: Cast) -> None:
        Membership.objects.of_group(cast.group).filter(user=cast.second_coordinator).update(
            left_at=timezone.now()
        )
        begun = begin_return(cast, partner=cast.coordinator.pk)
        for minutes in (0, 15, 30):
            sweep(begun, minutes)
        assert "no coordinator" in notes(begun)["coordinators"]

    def test_an_account_that_is_closed_is_not_written_to(self, cast: Cast, begun: SafeReturn) -> None:
        type(cast.other_volunteer).objects.filter(pk=cast.other_volunteer.pk).update(is_active=False)
        sweep(begun, 0)
        assert told(begun) == {"vera@example.org": 1}


class TestAfterAnOutage:
    """The portal was down while steps fell due."""

    def test_everybody_who_should_know_by_now_is_told_at_once(self, begun: SafeReturn) -> None:
        assert sweep(begun, 60) == 1
        assert told(begun) == dict.fromkeys((*PAIR, *COORDINATORS, SHORE), 1)
        assert course(begun) == ["started", "again", "coordinators", "named"]

    def test_every_message_says_how_late_it_is(self, begun: SafeReturn) -> None:
        sweep(begun, 60)
        for address, minutes in (("vera@example.org", 45), ("cora@example.org", 30), (SHORE, 15)):
            mail = mails_to(address)[-1]
            for part in (mail.text, mail.html):
                assert f"{minutes} minutes late" in part, address
        assert "15 minutes late" in notes(begun)["named"]

    def test_the_two_reminders_are_one(self, begun: SafeReturn) -> None:
        sweep(begun, 20)
        assert told(begun) == dict.fromkeys(PAIR, 1)
        assert "Soon others are told" in mails_to("vera@example.org")[-1].subject

    @pytest.mark.parametrize(("minutes", "words"), [(20, "or soon after"), (60, "are told at the same time")])
    def test_the_pair_reads_whether_others_are_told_already(
        self, begun: SafeReturn, minutes: int, words: str
    ) -> None:
        sweep(begun, minutes)
        mail = mails_to("vera@example.org")[-1]
        assert words in mail.text
        assert words in mail.html

    def test_what_is_not_due_yet_is_not_brought_forward(self, begun: SafeReturn) -> None:
        sweep(begun, 20)
        assert fresh(begun).next_step_at == minutes_after(begun.expected_at, 30)
        sweep(begun, 29)
        assert SHORE not in told(begun)
        sweep(begun, 30)
        assert set(told(begun)) == {*PAIR, *COORDINATORS}

    @pytest.mark.parametrize(("late", "says"), [(4, False), (5, True)])
    def test_a_sweep_a_little_late_says_nothing_of_it(self, begun: SafeReturn, late: int, says: bool) -> None:
        sweep(begun, late)
        assert ("late" in mails_to("vera@example.org")[-1].text) is says

    def test_an_outing_that_was_ended_in_time_stays_ended(self, cast: Cast, begun: SafeReturn) -> None:
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        assert sweep(begun, 60) == 0
        assert told(begun) == {}


class TestTrouble:
    def test_trouble_with_one_leaves_the_others_alone(
        self, cast: Cast, begun: SafeReturn, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        other = begin_return(cast, expected_at=begun.expected_at + timedelta(minutes=1))
        real = take_steps

        def stumble(safe_return: SafeReturn, now: datetime) -> None:
            real(safe_return, now)
            if safe_return.pk == begun.pk:
                raise RuntimeError("no template")

        monkeypatch.setattr(return_watch, "take_steps", stumble)
        with pytest.raises(RuntimeError, match="1 of 2"):
            sweep(other, 1)
        assert told(begun) == {}, "what failed is undone as a whole"
        assert set(told(other)) == set(PAIR)
        assert fresh(begun).step == Step.NONE

    def test_a_step_is_owed_once_even_if_the_row_forgets_it(self, begun: SafeReturn) -> None:
        sweep(begun, 0)
        SafeReturn.objects.of_group(begun.group).update(step=Step.NONE, next_step_at=begun.expected_at)
        sweep(begun, 1)
        owed = [mail for mail in mails_to("vera@example.org") if "Are you back?" in mail.subject]
        assert len(owed) == 1


def fail(message: Message) -> None:
    """What the outbox does when a mail server refuses for good."""
    Message.objects.across_groups("tests").filter(pk=message.pk).update(state=State.FAILED)
    on_return_message_failed(message, "550 no such user")


class TestUndeliverable:
    def test_the_pair_hears_at_the_start_that_their_named_person_could_not_be_told(
        self, begun: SafeReturn
    ) -> None:
        fail(mails_to(SHORE)[0])
        assert course(begun)[-1] == "undeliverable"
        for address in PAIR:
            mail = mails_to(address)[-1]
            assert "could not be told" in mail.subject
            assert "hazel@home.example" in mail.text

    def test_the_coordinators_hear_that_the_named_person_does_not_know(self, begun: SafeReturn) -> None:
        sweep(begun, 45)
        with time_machine.travel(minutes_after(begun.expected_at, 46)):
            fail(mails_to(SHORE)[-1])
        for address in COORDINATORS:
            assert "Telephone them" in mails_to(address)[-1].text
            assert "could not be told" in mails_to(address)[-1].subject

    @pytest.mark.parametrize("address", ["vera@example.org", "cora@example.org"])
    def test_other_failures_are_only_noted(self, begun: SafeReturn, address: str) -> None:
        sweep(begun, 30)
        before = Message.objects.across_groups("tests").count()
        fail(mails_to(address)[-1])
        assert course(begun)[-1] == "undeliverable"
        assert "550 no such user" in notes(begun)["undeliverable"]
        assert Message.objects.across_groups("tests").count() == before

    def test_nobody_is_alarmed_after_the_end(self, cast: Cast, begun: SafeReturn) -> None:
        message = mails_to(SHORE)[0]
        end_safe_return(safe_return=begun, person=cast.person("volunteer"))
        fail(message)
        assert not any("could not be told" in mail.subject for mail in mails_to("vera@example.org"))

    def test_a_message_about_something_else_is_none_of_its_business(self, cast: Cast) -> None:
        other: Any = Message(about_type="alerts.incident", about_id=cast.site.pk, kind="return.named")
        on_return_message_failed(other, "550")
        assert not ReturnEvent.objects.of_group(cast.group).exists()

    def test_the_outbox_knows_whom_to_tell(self) -> None:
        from portal.outbox import failures

        assert on_return_message_failed in failures._listeners
