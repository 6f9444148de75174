"""Alerts owed while everything that delivers them is killed, flushed or made to misbehave: none is lost.

`make soak` runs the same for as many as ALERTS says, with a real scheduler and without any hurry.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from django.conf import settings

from portal.embedded.place import PROJECT
from portal.outbox.models import Attempt, Message, State
from portal.outbox.tasks import deliver_message, sweep_outbox
from tests import migrated
from tests.benchmarks.lean_sink import lean_sink
from tests.faults.conftest import StartWorker, kill, mail_url
from tests.faults.servers import Servers
from tests.faults.soaking import KILLED, UNEXPLAINED, Report, Sink, Soak, sinking
from tests.processes import await_true
from tests.states import temporary_state

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
SHORT = 150
WORKERS, MESSAGES = 4, 5_000
ALERTS = int(os.environ.get("ALERTS", 1000))
# From the last restart until the last alert is received, s.
LIMIT = 60


@pytest.fixture
def servers() -> Iterator[Servers]:
    with temporary_state() as state, ExitStack() as stack:
        migrated.lay_out(state)
        made = Servers(state, stack)
        yield made


@pytest.fixture
def sink() -> Iterator[Sink]:
    with sinking() as made:
        yield made


@contextmanager
def scheduling(servers: Servers, folder: Path) -> Iterator[None]:
    """The real scheduler, as deployed."""
    environment = os.environ | servers.environment | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
    command = [sys.executable, "-m", "celery", "-A", "portal", "beat", "--schedule", str(folder / "beat")]
    with (folder / "beat.log").open("wb") as log:
        beat = subprocess.Popen(
            command, cwd=PROJECT, env=environment, stdout=log, stderr=log, start_new_session=True
        )
        try:
            yield
        finally:
            kill(beat)


def check(report: Report) -> None:
    print(f"\n{report.told()}")
    assert report.missing == 0
    assert len(report.numbers) == report.owed, "a second copy carries the number of the first"
    times = Counter(report.causes.values())
    assert times[UNEXPLAINED] == 0
    # One in doubt for each line of a worker that was killed, whatever else it had claimed.
    assert times[KILLED] <= settings.OUTBOX_SMTP["lines"] * report.troubles["worker killed"]
    assert report.last_after < LIMIT


def test_a_short_soak_loses_nothing_and_explains_every_second_copy(
    servers: Servers, sink: Sink, start_worker: StartWorker
) -> None:
    soak = Soak(servers, sink, start_worker, seed=20_817, timeout=1)
    soak.all_kinds_once(portion=SHORT // len(soak.kinds))
    check(soak.finish(soak.hurry, patience=90))


# No test of the suite: `make soak` asks for functions of this name.
def soak_loses_nothing_and_explains_every_second_copy(
    servers: Servers, sink: Sink, start_worker: StartWorker, tmp_path: Path
) -> None:
    soak = Soak(servers, sink, start_worker, seed=41, timeout=20)
    with scheduling(servers, tmp_path):
        while soak.owed < ALERTS:
            soak.all_kinds_once(portion=25)
        check(soak.finish(lambda: None, patience=300))


# The same by threads of one process is a test of the suite (tests/outbox/test_four_workers.py).
def soak_four_workers_send_each_message_once(start_worker: StartWorker) -> None:
    messages = Message.objects.bulk_create(
        Message(key=f"m{n}", kind="test", to_address="a@agency.example", subject=f"m{n}", text="x")
        for n in range(MESSAGES)
    )
    with lean_sink(pause_ms=5) as sink:
        for number in range(WORKERS):
            start_worker(wait=number == WORKERS - 1, EMAIL_URL=mail_url(sink.port))
        for number, message in enumerate(messages[:: MESSAGES // 200]):
            deliver_message.delay(str(message.id))
            if number % 50 == 0:
                sweep_outbox.delay()
        begun = time.monotonic()
        owed = Message.objects.across_groups("soak").exclude(state=State.SENT, attempts_made=1)
        await_true(lambda: not owed.exists(), "Something was lost.", patience=120)
        print(f"\n{MESSAGES:,} messages by {WORKERS} workers in {time.monotonic() - begun:.1f} s")
        assert len(sink.taken) == sink.count == MESSAGES, "each once"
    assert Attempt.objects.across_groups("soak").count() == MESSAGES
