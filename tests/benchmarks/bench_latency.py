"""How long an alert takes from the commit that owes it to the mail server's acceptance, with many owed at once.

`make bench` runs it for 1,000 messages. Two workers, PostgreSQL, the broker, the mail server (Python, 10 ms for
each message) and this clock share the machine. Not part of the suite: its names keep it from being collected.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence

import numpy as np
import pytest

from portal.outbox.models import Message
from portal.outbox.services import owe_message
from portal.outbox.tasks import deliver_message
from tests.faults.conftest import StartWorker, empty_queue, mail_url, postbox, start_worker
from tests.faults.soaking import Sink, sinking
from tests.processes import await_true

__all__ = ["empty_queue", "postbox", "start_worker"]
OWED = int(os.environ.get("OWED", "1000"))
NEW = 100
PAUSE = 0.05


def owe_at_once(prefix: str) -> float:
    """Owe so many in one transaction, nudge for each as commits do; when they were committed."""
    messages = [
        Message(
            key=f"{prefix}{n}", kind="alert", to_address="a@agency.example", subject=f"{prefix}{n}", text="x"
        )
        for n in range(OWED)
    ]
    Message.objects.bulk_create(messages)
    committed = time.monotonic()
    for each in messages:
        deliver_message.delay(str(each.id))
    return committed


def owe_new(number: int) -> float:
    """One more alert, as an accepted visit owes it."""
    owe_message(
        key=f"new{number}", kind="alert", to_address="a@agency.example", subject=f"new{number}", text="x"
    )
    return time.monotonic()


def await_received(sink: Sink, count: int) -> dict[str, float]:
    """When each was accepted, s on the monotonic clock."""
    await_true(lambda: len(sink.copies) >= count, "Not all arrived.", patience=300)
    return {copy.key: copy.at for copy in sink.copies}


def told(what: str, seconds: Sequence[float]) -> str:
    half, most = np.percentile(seconds, [50, 99])
    return f"{what}: half within {half:.2f} s, 99 of 100 within {most:.2f} s, all within {max(seconds):.2f} s"


@pytest.mark.django_db(transaction=True)
def bench_latency(start_worker: StartWorker) -> None:
    with sinking() as sink:
        for wait in (False, True):
            start_worker(wait=wait, EMAIL_URL=mail_url(sink.port))
        print(f"\nFrom commit to the mail server's acceptance, load {os.getloadavg()[0]:.1f} at the start:")
        owe_new(-1)
        await_received(sink, 1)

        committed = owe_at_once("a")
        seen = await_received(sink, 1 + OWED)
        waits = [at - committed for key, at in seen.items() if key.startswith("a")]
        print(told(f"each of {OWED:,} owed at one instant", waits))

        owe_at_once("b")
        starts = {}
        for number in range(NEW):
            starts[f"new{number}"] = owe_new(number)
            time.sleep(PAUSE)
        left = Message.objects.across_groups("benchmark").filter(key__startswith="b", state="owed").count()
        seen = await_received(sink, 1 + 2 * OWED + NEW)
        waits = [seen[key] - start for key, start in starts.items()]
        print(told(f"each of {NEW} new while {OWED:,} older ones are owed ({left} still at the end)", waits))
