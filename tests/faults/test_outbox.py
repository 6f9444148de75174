"""Kill -9 at the worst moments: mail arrives all the same, and a second copy is known as one."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from portal.outbox.models import Message, State
from portal.outbox.services import owe_message
from portal.outbox.tasks import sweep_outbox
from tests.faults.conftest import StartWorker, kill
from tests.mail import Postbox
from tests.processes import await_true

PATIENCE = 60
pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]


def owe(key: str = "k") -> Message:
    return owe_message(key=key, kind="test", to_address="reader@agency.example", subject=key, text="Low.")


def row(message: Message) -> Message:
    return Message.objects.across_groups("tests look at all").get(id=message.id)


def let_claim_run_out(message: Message) -> None:
    """What two minutes do."""
    past = timezone.now() - timedelta(seconds=1)
    changed = Message.objects.across_groups("tests").filter(id=message.id, claimed_until__isnull=False)
    assert changed.update(claimed_until=past) == 1


def test_it_delivers_by_the_nudge_alone(start_worker: StartWorker, postbox: Postbox) -> None:
    start_worker()
    message = owe()
    await_true(lambda: row(message).state == State.SENT, "The nudge reached nobody.", PATIENCE)
    assert len(postbox.mails) == 1


def test_it_sends_again_under_the_same_number_when_killed_before_marking(
    start_worker: StartWorker, postbox: Postbox
) -> None:
    """The server has taken the message, and the worker dies before it can write that down."""
    postbox.hang_seconds = 1.5
    worker = start_worker()
    message = owe("alert")
    await_true(lambda: len(postbox.mails) == 1, "The server did not get the message.", PATIENCE)
    kill(worker)
    assert row(message).state == State.OWED, "nobody could write down that it was sent"
    assert row(message).claimed_until is not None

    postbox.hang_seconds = 0.0
    start_worker()
    marker = owe("marker")
    sweep_outbox.delay()
    await_true(lambda: row(marker).state == State.SENT, "The sweep did not come.", PATIENCE)
    assert len(postbox.mails) == 2, "the claim of the dead worker still stands"

    let_claim_run_out(message)
    sweep_outbox.delay()
    await_true(lambda: row(message).state == State.SENT, "The message was not sent again.", PATIENCE)
    copies = [mail for mail in postbox.mails if mail["Subject"] == "alert"]
    assert len(copies) == 2
    assert len({mail["Message-ID"] for mail in copies}) == 1


def test_it_delivers_each_once_by_two_workers_after_a_crash_before_the_nudge(
    start_worker: StartWorker, postbox: Postbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The web process died between its commits and its nudges: only the rows are left."""
    monkeypatch.setattr("portal.outbox.services.nudge", lambda message_id: None)
    messages = [owe(f"m{number}") for number in range(20)]
    start_worker()
    start_worker()
    for _ in range(4):
        sweep_outbox.delay()
    await_true(lambda: all(row(each).state == State.SENT for each in messages), "Some were not sent.", PATIENCE)
    assert sorted(mail["Subject"] for mail in postbox.mails) == sorted(each.subject for each in messages)
