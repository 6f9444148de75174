"""Two workers at one outbox: real connections, real row locks."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction

from portal.accounts.walls import carried
from portal.outbox import sending
from portal.outbox.claims import claim, owed
from portal.outbox.delivery import deliver
from portal.outbox.models import Message, State
from portal.outbox.tasks import sweep_outbox
from tests.mail import Postbox
from tests.outbox.conftest import Owe, again

pytestmark = pytest.mark.django_db(transaction=True)


def side_by_side(*works: Callable[[], Any]) -> list[Any]:
    """Run each in a thread with a database connection of its own; return the results."""
    results: list[Any] = []

    def run(work: Callable[[], Any]) -> None:
        try:
            results.append(work())
        finally:
            connection.close()

    threads = [threading.Thread(target=carried(run), args=(work,)) for work in works]
    for each in threads:
        each.start()
    for each in threads:
        each.join(timeout=30)
    return results


def test_it_never_sends_twice_from_two_sweeps(postbox: Postbox, owe: Owe) -> None:
    for number in range(30):
        owe(f"m{number}", subject=f"number {number}")
    tried = side_by_side(sweep_outbox, sweep_outbox, sweep_outbox)
    times = Counter(mail["Subject"] for mail in postbox.mails)
    assert sum(tried) == 30
    assert len(times) == 30
    assert set(times.values()) == {1}


def test_it_never_sends_twice_from_nudge_and_sweep(postbox: Postbox, owe: Owe) -> None:
    message = owe()
    side_by_side(lambda: deliver(message.id), sweep_outbox, lambda: deliver(message.id))
    assert len(postbox.mails) == 1


def test_it_would_send_twice_without_the_claim(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = owe()
    both_have_it = threading.Barrier(2, timeout=20)

    def unclaimed(messages: Any, count: int = 1) -> list[Message]:
        found = list(messages[:count])
        if found:
            both_have_it.wait()
        return found

    monkeypatch.setattr(sending, "claim", unclaimed)
    side_by_side(lambda: deliver(message.id), lambda: deliver(message.id))
    assert len(postbox.mails) == 2


def test_it_passes_over_a_row_that_is_locked(owe: Owe) -> None:
    locked, free = owe("a"), owe("b")
    with transaction.atomic():
        Message.objects.across_groups("test").select_for_update().get(id=locked.id)
        (found,) = side_by_side(lambda: claim(owed().order_by("created_at"), 2))
    assert [each.id for each in found] == [free.id]


def test_it_holds_no_lock_while_the_server_thinks(postbox: Postbox, owe: Owe) -> None:
    message = owe()
    postbox.hang_seconds = 1.0
    sending = threading.Thread(target=carried(side_by_side), args=(lambda: deliver(message.id),))
    sending.start()
    try:
        while again(message).claimed_until is None:
            pass
        with transaction.atomic():
            row = Message.objects.across_groups("test").select_for_update(nowait=True).get(id=message.id)
            assert row.state == State.OWED
    finally:
        sending.join()
    assert again(message).state == State.SENT
