"""Four workers at one outbox and one mail server, nobody killed: each message is sent once.

`make soak` does the same with four real workers and 5,000 messages.
"""

from __future__ import annotations

import queue
from collections import Counter
from contextlib import suppress
from uuid import UUID

import pytest

from portal.outbox.delivery import deliver, deliver_all_owed
from portal.outbox.models import Message, State
from tests.mail import Postbox
from tests.threads import run_together

pytestmark = pytest.mark.django_db(transaction=True)
MANY = 400
WORKERS = 4


def owe_many() -> list[UUID]:
    owed = [
        Message(key=f"m{n}", kind="test", to_address="a@agency.example", subject=f"m{n}", text="x")
        for n in range(MANY)
    ]
    return [each.id for each in Message.objects.bulk_create(owed)]


def test_four_workers_send_each_message_once(postbox: Postbox) -> None:
    """Two that sweep and two that are nudged, message by message, over the same rows."""
    nudges: queue.SimpleQueue[UUID] = queue.SimpleQueue()
    for number in owe_many():
        nudges.put(number)

    def sweep() -> int:
        while deliver_all_owed():
            pass
        return 1

    def be_nudged() -> int:
        with suppress(queue.Empty):
            while True:
                deliver(nudges.get_nowait())
        return 1

    outcomes = run_together(sweep, sweep, be_nudged, be_nudged)
    assert sum(each.result() for each in outcomes) == WORKERS
    times = Counter(mail["Subject"] for mail in postbox.mails)
    assert len(times) == MANY
    assert set(times.values()) == {1}
    left = Message.objects.across_groups("tests look at all").exclude(state=State.SENT, attempts_made=1)
    assert not left.exists()
