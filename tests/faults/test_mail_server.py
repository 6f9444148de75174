"""A mail server that says nothing, is not there, or hangs up in the middle, under a real worker."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

import pytest
from django.utils import timezone

from portal.embedded.inbox import free_port
from portal.outbox.models import Attempt, Message, State
from portal.outbox.services import owe_message
from portal.outbox.tasks import sweep_outbox
from tests.faults.conftest import StartWorker, mail_url
from tests.mail import Postbox, receiving
from tests.processes import await_true

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
FIRST, SECOND = "first@agency.example", "second@agency.example"


@pytest.fixture(autouse=True)
def _no_nudges(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only the sweep delivers here, so that each test knows when."""
    monkeypatch.setattr("portal.outbox.services.nudge", lambda message_id: None)


def owe(address: str) -> Message:
    return owe_message(key=address, kind="test", to_address=address, subject=address, text="Low.")


def row(message: Message) -> Message:
    return Message.objects.across_groups("tests look at all").get(id=message.id)


def attempts(message: Message) -> list[Attempt]:
    return list(Attempt.objects.across_groups("tests look at all").filter(message=message.id).order_by("at"))


def await_attempts(message: Message, count: int) -> None:
    await_true(lambda: len(attempts(message)) == count, f"There was no attempt number {count}.")


def let_delay_run_out() -> None:
    """What an hour does; the first stays the first in line."""
    for past, address in ((2, FIRST), (1, SECOND)):
        owed = Message.objects.across_groups("tests").filter(state=State.OWED, to_address=address)
        owed.update(not_before=timezone.now() - timedelta(seconds=past))


@contextmanager
def silent(port: int) -> Iterator[None]:
    """A server that takes the call and never says a word."""
    with socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        line.bind(("127.0.0.1", port))
        line.listen()
        yield


@contextmanager
def absent(_port: int) -> Iterator[None]:
    """No server at all: the call is refused."""
    yield


def test_it_keeps_what_it_owes_while_no_server_answers_and_delivers_afterwards(
    start_worker: StartWorker,
) -> None:
    port = free_port()
    worker = start_worker(EMAIL_URL=mail_url(port, timeout=1))
    first, second = owe(FIRST), owe(SECOND)
    for number, (trouble, words) in enumerate([(absent, "refused"), (silent, "timed out")], start=1):
        let_delay_run_out()
        with trouble(port):
            sweep_outbox.delay()
            await_attempts(first, number)
        assert words in attempts(first)[-1].answer
        kept = row(first)
        assert (kept.state, kept.claimed_until) == (State.OWED, None)
        assert kept.not_before > timezone.now(), "it is put off, not given up"
        assert attempts(second) == [], "the rest would only meet the same silence"

    with receiving(port) as box:
        let_delay_run_out()
        sweep_outbox.delay()
        await_true(lambda: row(first).state == row(second).state == State.SENT, "They were not delivered.")
    assert sorted(box.recipients) == [FIRST, SECOND]
    assert worker.poll() is None, "the same worker lived through it"


def test_it_tries_again_when_the_line_is_cut_in_the_middle_of_the_message(
    start_worker: StartWorker, postbox: Postbox
) -> None:
    """Nobody knows whether the server has taken it: a second copy is better than none, and is known as one."""
    postbox.drop_in_data = True
    start_worker()
    message = owe(FIRST)
    sweep_outbox.delay()
    await_attempts(message, 1)
    assert row(message).state == State.OWED
    assert not attempts(message)[0].succeeded

    postbox.drop_in_data = False
    let_delay_run_out()
    sweep_outbox.delay()
    await_true(lambda: row(message).state == State.SENT, "It was not tried again.")
    assert [each.succeeded for each in attempts(message)] == [False, True]
    assert len({mail["Message-ID"] for mail in postbox.mails}) == 1


def test_one_refused_address_holds_up_nobody_else(start_worker: StartWorker, postbox: Postbox) -> None:
    postbox.rcpt_answers = {FIRST: "550 no such mailbox"}
    start_worker()
    first, second = owe(FIRST), owe(SECOND)
    sweep_outbox.delay()
    await_true(lambda: row(second).state == State.SENT, "The other one was held up.")
    assert row(first).state == State.FAILED
    assert [each.code for each in attempts(first)] == [550]
    sweep_outbox.delay()
    marker = owe("marker@agency.example")
    sweep_outbox.delay()
    await_true(lambda: row(marker).state == State.SENT, "The next sweep did not come.")
    assert len(attempts(first)) == 1, "a final no is final"
