"""More people than threads: who waited too long is refused, nothing is lost, and it recovers by itself."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from uuid import uuid4

import psycopg
import pytest

from tests.faults.portals import SharedServers, portal_with, read
from tests.faults.steady_load import Load, make_world
from tests.processes import await_true

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
READERS, SENDERS = 40, 20
STORED = "SELECT id::text FROM surveys_visit WHERE source = 'api'"


@contextmanager
def database_standing_still(database: str) -> Iterator[None]:
    """Nobody can read or write a visit for the while."""
    with psycopg.connect(database) as line:
        line.execute("LOCK TABLE surveys_visit IN ACCESS EXCLUSIVE MODE")
        yield


def burst(load: Load, visits: list[dict[str, object]]) -> list[Callable[[], int]]:
    """Readers and senders, mixed."""
    reading = [partial(load.read_page, load.world["pages"][1]) for _ in range(READERS)]
    sending = [partial(load.submit, visit) for visit in visits]
    return [each for pair in zip(reading[::2], sending, reading[1::2], strict=True) for each in pair]


def test_a_burst_is_refused_cleanly_and_taken_in_when_sent_again(tmp_path: Path) -> None:
    servers = SharedServers()
    scarce = {"DATABASE_POOL_SIZE": "1", "LONGEST_WAIT": "1.5"}
    with portal_with(servers.environment | scarce, tmp_path) as portal:
        portal.start("web0")
        load = Load(portal.webs[0], make_world())
        clean = load.world["clean"]
        visits = [clean[number % len(clean)] | {"id": str(uuid4())} for number in range(SENDERS)]
        with ThreadPoolExecutor(READERS + SENDERS) as crowd:
            with database_standing_still(servers.database):
                asked = [crowd.submit(each) for each in burst(load, visits)]
                # No connection was free for 5 s; whoever still waits for a thread has waited too long by then.
                await_true(lambda: bool(load.waits), "Nobody is refused.", patience=20)
            answers = [each.result() for each in asked]

        check_refusals(load, answers)
        begun = time.monotonic()
        assert {load.submit(visit) for visit in visits} <= {200, 201}
        assert time.monotonic() - begun < 20, "it has not recovered"
        stored = [number for (number,) in read(servers.database, STORED)]
        assert sorted(map(str, stored)) == sorted(str(visit["id"]) for visit in visits), "each once"


def check_refusals(load: Load, answers: list[int]) -> None:
    """Each was served or refused, none was left without an answer or told of a fault."""
    assert set(answers) <= {200, 201, 503}, load.faults
    assert answers.count(503) > len(answers) / 2
    assert len(answers) > answers.count(503), "those whose turn it was were served"
    # Both kinds: no thread had time, and no connection was free.
    busy = [fault for fault in load.faults if "very busy" in fault]
    unreachable = [fault for fault in load.faults if "cannot" in fault]
    assert busy
    assert unreachable
    assert len(busy) + len(unreachable) == answers.count(503)
    assert all(wait and 10 <= int(wait) <= 60 for wait in load.waits)
