"""Delivering over real SMTP: accepted, put off, refused, hung up on."""

from __future__ import annotations

import time
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from pytest_django import Settings

from portal.embedded.inbox import free_port
from portal.outbox import delivery, sending
from portal.outbox.composing import Letter
from portal.outbox.delivery import deliver, deliver_all_owed
from portal.outbox.models import Attempt, Message, State
from portal.outbox.retrying import FEWEST_TRIES, next_server_try, next_try
from portal.outbox.tasks import sweep_outbox
from portal.outbox.transport import Answer, Line, Result
from tests.mail import Postbox, smtp_settings, text_of
from tests.outbox.conftest import Owe, again

pytestmark = pytest.mark.django_db


def only_attempt(message: Message) -> tuple[bool, int | None, str]:
    attempt = message.attempts.get()
    return attempt.succeeded, attempt.code, attempt.answer


def test_it_sends_and_keeps_the_servers_words(postbox: Postbox, owe: Owe) -> None:
    message = owe(to_name="Ines Halloran")
    deliver(message.id)
    assert text_of(postbox.mails[0]).strip() == "Twelve is below sixteen."
    assert postbox.mails[0]["To"] == "Ines Halloran <reader@agency.example>"
    message = again(message)
    assert message.state == State.SENT
    assert message.sent_at is not None
    assert message.claimed_until is None
    assert only_attempt(message) == (True, 250, "accepted as 17")


def test_it_sends_once(postbox: Postbox, owe: Owe) -> None:
    message = owe()
    assert deliver(message.id) is not None
    assert deliver(message.id) is None
    assert len(postbox.mails) == 1


def test_it_waits_until_a_message_is_due(postbox: Postbox, owe: Owe) -> None:
    message = owe(not_before=timezone.now() + timedelta(hours=2))
    assert deliver(message.id) is None
    with time_machine.travel(timezone.now() + timedelta(hours=3)):
        deliver(message.id)
    assert len(postbox.mails) == 1


def test_it_puts_off_what_the_server_cannot_take_now(postbox: Postbox, owe: Owe) -> None:
    postbox.answers = ["451 come back later"]
    message = owe()
    deliver(message.id)
    message = again(message)
    assert message.state == State.OWED
    assert only_attempt(message) == (False, 451, "come back later")
    wait = message.not_before - timezone.now()
    assert timedelta(seconds=20) < wait <= timedelta(seconds=30)


def test_it_sends_after_the_delay_under_the_same_number(postbox: Postbox, owe: Owe) -> None:
    postbox.answers = ["451 come back later"]
    message = owe()
    deliver(message.id)
    assert deliver(message.id) is None, "not before its time"
    with time_machine.travel(timezone.now() + timedelta(minutes=2)):
        deliver(message.id)
    assert postbox.mails[0]["Message-ID"] == f"<{message.id}@rifflebook.example>"
    assert again(message).attempts_made == 2


def test_it_gives_up_when_the_recipient_is_refused(postbox: Postbox, owe: Owe) -> None:
    postbox.rcpt_answers = {"reader@agency.example": "550 no such mailbox"}
    message = owe()
    deliver(message.id)
    assert again(message).state == State.FAILED
    assert only_attempt(message) == (False, 550, "no such mailbox")


def test_it_gives_up_when_the_content_is_refused(postbox: Postbox, owe: Owe) -> None:
    postbox.answers = ["554 not here"]
    message = owe()
    deliver(message.id)
    assert again(message).state == State.FAILED


def test_it_tries_again_when_a_recipient_is_put_off(postbox: Postbox, owe: Owe) -> None:
    postbox.rcpt_answers = {"reader@agency.example": "450 greylisted"}
    message = owe()
    deliver(message.id)
    assert again(message).state == State.OWED
    assert only_attempt(message)[1] == 450


def test_it_keeps_trying_when_the_portals_own_address_is_refused(postbox: Postbox, owe: Owe) -> None:
    postbox.mail_answer = "550 sender unknown"
    message = owe()
    deliver(message.id)
    assert again(message).state == State.OWED
    assert only_attempt(message) == (False, 550, "sender unknown")


def test_it_survives_a_server_that_hangs(postbox: Postbox, owe: Owe, settings: Settings) -> None:
    settings.OUTBOX_SMTP = smtp_settings(postbox.port, timeout=0.5)
    postbox.hang_seconds = 1.5
    message = owe()
    start = time.perf_counter()
    deliver(message.id)
    assert time.perf_counter() - start < 4
    assert again(message).state == State.OWED
    assert only_attempt(message)[:2] == (False, None)
    assert "timed out" in only_attempt(message)[2]


def test_it_survives_a_connection_dropped_in_the_middle(postbox: Postbox, owe: Owe) -> None:
    postbox.drop_in_data = True
    message = owe()
    deliver(message.id)
    assert again(message).state == State.OWED
    assert only_attempt(message)[:2] == (False, None)


def test_it_tries_again_soon_after_a_cut_line_and_then_less_and_less(postbox: Postbox, owe: Owe) -> None:
    """Most likely the server was restarted; each try may make a second copy, so it waits longer each time."""
    postbox.drop_in_data = True
    message = owe()
    now = timezone.now()
    for seconds in (5, 10, 20, 40):
        with time_machine.travel(now, tick=False):
            assert deliver_all_owed() == 1
            wait = again(message).not_before - now
        assert seconds * 0.8 <= wait.total_seconds() <= seconds
        now += timedelta(minutes=2)


def test_it_survives_a_server_that_is_not_there(owe: Owe, settings: Settings) -> None:
    settings.OUTBOX_SMTP = smtp_settings(free_port())
    message = owe()
    answer = deliver(message.id)
    assert answer is not None
    assert answer.result is Result.NO_SERVER
    assert again(message).state == State.OWED


def test_it_takes_a_refused_login_for_a_fault_of_its_own(
    postbox: Postbox, owe: Owe, settings: Settings
) -> None:
    settings.OUTBOX_SMTP = smtp_settings(postbox.port) | {"username": "u", "password": "p"}
    message = owe()
    deliver(message.id)
    assert again(message).state == State.OWED


def test_it_takes_a_missing_tls_for_a_fault_of_its_own(postbox: Postbox, owe: Owe, settings: Settings) -> None:
    settings.OUTBOX_SMTP = smtp_settings(postbox.port) | {"use_tls": True}
    message = owe()
    deliver(message.id)
    assert postbox.mails == []
    assert again(message).state == State.OWED


def test_it_refuses_an_address_no_server_takes(postbox: Postbox, owe: Owe) -> None:
    message = owe(to_address="jürgen@agency.example")
    deliver(message.id)
    assert again(message).state == State.FAILED
    assert "jürgen" in only_attempt(message)[2]


def test_it_writes_a_domain_with_letters_of_other_languages(postbox: Postbox, owe: Owe) -> None:
    deliver(owe(to_address="desk@fluß-wacht.example").id)
    assert postbox.recipients[0].startswith("desk@")
    assert postbox.recipients[0].isascii()


def refused_often(message: Message, times: int = FEWEST_TRIES, **fields: bool) -> None:
    Attempt.objects.bulk_create(
        Attempt(message=message, succeeded=False, code=451, **fields) for _ in range(times)
    )


@pytest.mark.parametrize(
    ("days", "tries", "state"),
    [
        (5.01, FEWEST_TRIES, State.FAILED),
        (4.99, FEWEST_TRIES, State.OWED),
        (5.01, FEWEST_TRIES - 2, State.OWED),
    ],
)
def test_it_gives_up_after_five_days_of_trying(
    postbox: Postbox, owe: Owe, days: float, tries: int, state: State
) -> None:
    """A clock that jumps ahead by a week has not tried for a week."""
    message = owe()
    refused_often(message, tries)
    with time_machine.travel(timezone.now() + timedelta(days=days)):
        postbox.answers = ["451 still not"]
        deliver(message.id)
    assert again(message).state == state


def test_it_never_gives_up_because_of_a_server_that_is_away(owe: Owe, settings: Settings) -> None:
    settings.OUTBOX_SMTP = smtp_settings(free_port())
    message = owe()
    refused_often(message, 500, no_server=True)
    with time_machine.travel(timezone.now() + timedelta(days=30)):
        deliver(message.id)
        assert timedelta(0) < again(message).not_before - timezone.now() <= timedelta(seconds=30)
    assert again(message).state == State.OWED


def test_a_long_outage_makes_no_long_wait_of_the_first_put_off(postbox: Postbox, owe: Owe) -> None:
    message = owe()
    refused_often(message, 100, no_server=True)
    postbox.answers = ["451 greylisted"]
    deliver(message.id)
    assert again(message).not_before - timezone.now() <= timedelta(seconds=30)


@pytest.mark.parametrize(("tries", "seconds"), [(1, 5), (2, 10), (3, 20), (4, 30), (90_000, 30)])
def test_it_calls_an_absent_server_again_within_half_a_minute(tries: int, seconds: int) -> None:
    now = timezone.now()
    waits = {(next_server_try(tries, now) - now).total_seconds() for _ in range(60)}
    assert seconds * 0.8 <= min(waits) < max(waits) <= seconds


def test_it_keeps_a_message_it_cannot_put_together(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    message, other = owe("a"), owe("b")

    def broken(each: Message) -> None:
        raise RuntimeError("no template")

    monkeypatch.setattr(sending, "compose", broken)
    assert sweep_outbox() == 2
    assert "no template" in only_attempt(again(message))[2]
    assert again(other).state == State.OWED


@pytest.mark.parametrize(("tries", "seconds"), [(1, 30), (2, 60), (3, 120), (7, 1920), (8, 3600), (400, 3600)])
def test_it_waits_longer_after_each_failure_up_to_an_hour(tries: int, seconds: int) -> None:
    now = timezone.now()
    waits = {(next_try(tries, now) - now).total_seconds() for _ in range(60)}
    assert max(waits) <= seconds
    assert min(waits) >= seconds * 0.8
    assert len(waits) > 10, "messages that failed together come back apart"


def test_it_sweeps_all_that_is_owed(postbox: Postbox, owe: Owe) -> None:
    for number in range(5):
        owe(f"m{number}")
    assert sweep_outbox() == 5
    assert len(postbox.mails) == 5
    assert sweep_outbox() == 0


def test_it_sweeps_past_a_refused_message(postbox: Postbox, owe: Owe) -> None:
    postbox.rcpt_answers = {"gone@agency.example": "550 no"}
    owe("a", to_address="gone@agency.example")
    owe("b")
    assert sweep_outbox() == 2
    assert postbox.recipients == ["reader@agency.example"]


def test_it_stops_a_sweep_when_no_server_answers(owe: Owe, settings: Settings) -> None:
    settings.OUTBOX_SMTP = smtp_settings(free_port())
    for number in range(5):
        owe(f"m{number}")
    assert deliver_all_owed() == 1


def test_it_stops_a_sweep_when_the_portals_own_address_is_refused(postbox: Postbox, owe: Owe) -> None:
    postbox.mail_answer = "550 sender unknown"
    for number in range(5):
        owe(f"m{number}")
    assert deliver_all_owed() == 1


def test_it_stops_a_sweep_after_two_cut_lines_in_a_row(postbox: Postbox, owe: Owe) -> None:
    """One may be the message's fault, two are the server's; each may make a second copy."""
    postbox.drop_in_data = True
    for number in range(5):
        owe(f"m{number}")
    assert deliver_all_owed() == 2


def test_it_sends_the_oldest_and_the_newest_in_turn(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """A new alert does not wait behind a thousand others, nor the oldest for ever."""
    settings.OUTBOX_SMTP = smtp_settings(postbox.port) | {"lines": 1}
    monkeypatch.setattr(sending, "MOST_IN_HAND", 2)
    for number in range(8):
        owe(f"m{number}", subject=f"{number}")
    deliver_all_owed()
    assert [mail["Subject"] for mail in postbox.mails] == ["0", "7", "6", "1", "2", "5", "4", "3"]


def test_it_ends_a_sweep_in_time(postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delivery, "SWEEP_SECONDS", 0.0)
    owe()
    assert deliver_all_owed() == 0


def test_it_marks_as_sent_what_was_cancelled_too_late(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = owe()

    def cancel_meanwhile(line: Line, letter: Letter) -> Answer:
        answer = carry(line, letter)
        Message.objects.across_groups("test").filter(id=message.id).update(state=State.CANCELLED)
        return answer

    carry = Line.send
    monkeypatch.setattr(Line, "send", cancel_meanwhile)
    deliver(message.id)
    assert again(message).state == State.SENT
