"""Alerts owed while everything that delivers them is killed, flushed or made to misbehave: none is lost.

`make soak` runs the same for as many as ALERTS says, with a real scheduler and without any hurry.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from django.conf import settings

from portal.embedded.place import PROJECT
from tests import migrated
from tests.faults.conftest import StartWorker, kill
from tests.faults.servers import Servers
from tests.faults.soaking import KILLED, UNEXPLAINED, Report, Sink, Soak, sinking
from tests.servers import temporary_state

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
SHORT = 150
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


# The suite has a test of its own for each kind of trouble: servers, mail server, workers.
@pytest.mark.long
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
