"""Owing a message: written once, with the change it tells of, and free of the broker's health."""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from portal.celery import app
from portal.outbox import nudging, services
from portal.outbox.models import Message, State
from portal.outbox.services import cancel_messages
from portal.outbox.tasks import deliver_message
from tests.outbox.conftest import Owe, again
from tests.processes import await_true

pytestmark = pytest.mark.django_db


def all_messages() -> list[Message]:
    return list(Message.objects.across_groups("tests look at all"))


def test_it_writes_one_row_per_key(owe: Owe) -> None:
    first = owe("visit:1")
    second = owe("visit:1", text="other words")
    assert first.id == second.id
    assert [each.text for each in all_messages()] == ["Twelve is below sixteen.\n"]


def test_it_owes_different_keys_separately(owe: Owe) -> None:
    owe("visit:1")
    owe("visit:2")
    assert len(all_messages()) == 2


@pytest.mark.django_db(transaction=True)
def test_it_vanishes_with_the_transaction_it_belongs_to(owe: Owe) -> None:
    with transaction.atomic():
        owe("visit:1")
        transaction.set_rollback(True)
    assert all_messages() == []


def test_it_flattens_a_subject_with_line_breaks(owe: Owe) -> None:
    message = owe(subject="Low\r\nBcc: everybody@example.org\n score")
    assert message.subject == "Low Bcc: everybody@example.org score"


def test_it_shortens_a_subject_that_is_too_long(owe: Owe) -> None:
    assert len(owe(subject="x" * 400).subject) == services.SUBJECT_LENGTH


@pytest.fixture
def nudged(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    seen: list[Any] = []
    monkeypatch.setattr(services, "nudge", seen.append)
    return seen


def test_it_nudges_only_after_the_commit(
    owe: Owe, nudged: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        message = owe()
        assert nudged == []
    assert nudged == [message.id]


def test_it_does_not_nudge_for_what_was_owed_before(
    owe: Owe, nudged: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    owe()
    with django_capture_on_commit_callbacks(execute=True):
        owe()
    assert nudged == []


def test_it_does_not_nudge_for_a_later_message(
    owe: Owe, nudged: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        owe(not_before=timezone.now() + timedelta(hours=1))
    assert nudged == []


@pytest.fixture
def dead_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    """TEST-NET-1 (RFC 5737) is routed nowhere: packets to it are lost or refused, as to a host that is gone."""
    monkeypatch.setattr(deliver_message, "apply_async", _publish_to_nowhere)


def _publish_to_nowhere(arguments: Any, **options: Any) -> None:
    with app.connection_for_write("redis://192.0.2.1:6379/0") as connection:
        app.send_task(deliver_message.name, arguments, connection=connection, **options)


@pytest.mark.usefixtures("dead_broker")
def test_it_neither_waits_for_nor_stumbles_over_a_dead_broker(
    owe: Owe, django_capture_on_commit_callbacks: Any
) -> None:
    start = time.perf_counter()
    with django_capture_on_commit_callbacks(execute=True):
        for number in range(20):
            owe(f"visit:{number}")
    # To wait for one connection takes 2 s. Without, all twenty take 0.1 s, or 0.6 on a machine that is busy.
    assert time.perf_counter() - start < 1.5
    assert {each.state for each in all_messages()} == {State.OWED}


@pytest.mark.usefixtures("dead_broker")
def test_it_drops_the_nudges_that_a_dead_broker_holds_up() -> None:
    nudger = nudging.Nudger()
    first, *others = [owe_id() for _ in range(5)]
    for each in others:
        nudger._waiting.put(nudging.Nudge(each))
    start = time.perf_counter()
    nudger._send(nudging.Nudge(first))
    assert nudger._waiting.empty()
    assert time.perf_counter() - start < 15, "one dead connection must not occupy the thread for long"


def owe_id() -> Any:
    from uuid import uuid4

    return uuid4()


def test_it_never_blocks_on_a_full_queue(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nudging, "MOST_WAITING", 1)
    nudger = nudging.Nudger()
    monkeypatch.setattr(nudger, "_start", lambda: None)
    nudger.nudge(nudging.Nudge(owe_id()))
    nudger.nudge(nudging.Nudge(owe_id()))
    assert nudger._waiting.qsize() == 1


def test_of_a_crowd_the_first_few_stand_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each has a worker send whatever is owed."""
    sent: list[Any] = []
    nudger = nudging.Nudger()
    monkeypatch.setattr(nudger, "_send", lambda nudge: sent.append(nudge.message_id) or True)  # type: ignore[func-returns-value]
    numbers = [owe_id() for _ in range(100)]
    for each in numbers:
        nudger._waiting.put(nudging.Nudge(each))
    nudger._start()
    await_true(nudger._waiting.empty, "The crowd was not taken.")
    last = owe_id()
    await_true(lambda: len(sent) == nudging.MOST_AT_ONCE, "They were not sent.")
    nudger.nudge(nudging.Nudge(last))
    await_true(lambda: last in sent, "A later nudge was not sent.")
    assert sent == [*numbers[: nudging.MOST_AT_ONCE], last]


def handed_over(message: Message, within: float | None = None) -> Any:
    """What the broker has after such a nudge."""
    with app.connection_for_read() as connection:
        queue = connection.SimpleQueue("celery")
        queue.clear()
        nudging.nudge(message.id, within=within)
        arrived = queue.get(timeout=10)
        arrived.ack()
        queue.close()
    return arrived


def test_it_hands_the_nudge_to_a_living_broker(owe: Owe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nudging, "_nudger", nudging.Nudger())
    message = owe()
    arrived = handed_over(message)
    assert arrived.headers["task"] == "portal.outbox.tasks.deliver_message"
    assert str(message.id) in str(arrived.payload)
    assert arrived.headers["expires"] is None


def test_a_nudge_to_go_on_is_forgotten_when_nobody_is_free(owe: Owe, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else they would pile up in front of all other work for as long as much is owed."""
    monkeypatch.setattr(nudging, "_nudger", nudging.Nudger())
    expires = datetime.fromisoformat(handed_over(owe(), within=8).headers["expires"])
    assert timedelta(seconds=0) < expires - timezone.now() <= timedelta(seconds=8)


def test_it_cancels_what_is_still_owed_about_a_record(owe: Owe) -> None:
    about = owe("something")
    told, other = owe("a", about=about, kind="alert"), owe("b", about=about, kind="update")
    assert cancel_messages(about, "alert") == 1
    assert again(told).state == State.CANCELLED
    assert again(other).state == State.OWED


def test_it_leaves_a_message_that_is_being_sent(owe: Owe) -> None:
    about = owe("something")
    message = owe("a", about=about)
    message.claimed_until = timezone.now() + timedelta(minutes=1)
    message.save()
    assert cancel_messages(about) == 0
    assert again(message).state == State.OWED
