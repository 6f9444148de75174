"""How long an alert takes from the commit that owes it to the mail server's acceptance, with many owed at once.

`make bench` runs it for 1,000 messages of ten sites. OWED=60 OWED_SITES=60 draws a picture for each; what two
rounds of each worker do not carry would wait for the scheduler, which is not there. Two workers, PostgreSQL
that writes through to the disk, the broker, who owes and the mail server share the machine: seconds hold for
a quiet one only, so CPU time is told as well.
Not part of the suite: its names keep it from being collected.
"""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path

import numpy as np
import psycopg
import pytest

from tests.benchmarks.lean_sink import LeanSink, lean_sink
from tests.faults.conftest import StartWorker, Worker, empty_queue, kill, mail_url, postbox, start_worker
from tests.faults.servers import Servers
from tests.processes import all_pids, await_true
from tests.states import temporary_state

__all__ = ["empty_queue", "postbox", "start_worker"]
OWED = int(os.environ.get("OWED", "1000"))
NEW = 100
PAUSE = 0.05
# How long the mail server thinks about each message, ms.
THINKS = (0, 10)
TICKS = os.sysconf("SC_CLK_TCK")


@pytest.fixture
def servers() -> Iterator[Servers]:
    with temporary_state() as state, ExitStack() as stack:
        made = Servers(state, stack)
        made.run("manage.py", "migrate", "--verbosity", "0")
        yield made


class Owner:
    """Who owes: a line in, the moment of the commit out."""

    def __init__(self, servers: Servers) -> None:
        command = ["-m", "tests.benchmarks.owing"]
        self.process = servers.begin(*command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        assert self._answer() == "ready"

    def __enter__(self) -> Owner:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.process.communicate(timeout=60)

    def owe(self, kind: str, count: int, prefix: str) -> float:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{kind} {count} {prefix}\n".encode())
        self.process.stdin.flush()
        return float(self._answer())

    def _answer(self) -> str:
        assert self.process.stdout is not None
        return str(self.process.stdout.readline().decode().strip())


def cpu_of(pids: Sequence[int]) -> float:
    """CPU time of these processes and the children they have buried, s."""
    total = 0.0
    for pid in pids:
        try:
            words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        total += sum(map(int, words[11:15])) / TICKS
    return total


def children_of(parent: int) -> list[int]:
    found = []
    for pid in all_pids():
        try:
            words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        found += [pid] if int(words[1]) == parent else []
    return found


class Meter:
    """CPU time by part since it was made, ms for each of so many messages."""

    def __init__(self, servers: Servers, workers: list[Worker], sink: LeanSink) -> None:
        self.postmaster = int((servers.state / "postgres/data/postmaster.pid").read_text().split()[0])
        self.workers, self.sink = workers, sink
        self.start = self._now()

    def _now(self) -> dict[str, float]:
        return {
            "workers": cpu_of([each.pid for each in self.workers]),
            "database": cpu_of([self.postmaster, *children_of(self.postmaster)]),
            "mail server": cpu_of([self.sink.process.pid]),
        }

    def told(self, count: int) -> str:
        now = self._now()
        used = {part: (now[part] - self.start[part]) / count * 1000 for part in now}
        parts = ", ".join(f"{part} {ms:.2f}" for part, ms in used.items())
        return f"CPU ms for each: {sum(used.values()):.2f} ({parts})"


def told(what: str, seconds: Sequence[float]) -> str:
    half, most = np.percentile(seconds, [50, 99])
    pace = len(seconds) / max(seconds)
    return (
        f"{what}: half within {half:.2f} s, 99 of 100 within {most:.2f} s, all within {max(seconds):.2f} s"
        f" ({pace:.0f} messages/s)"
    )


def await_marked(servers: Servers) -> None:
    """Until all are marked as sent: the last marks come after the last acceptance."""
    await_true(lambda: servers.states()["owed"] == 0, "Not all were sent.", patience=300, pause=0.2)


def measure_burst(servers: Servers, workers: list[Worker], sink: LeanSink, owner: Owner, kind: str) -> None:
    """So many at one instant."""
    meter, before, prefix = Meter(servers, workers, sink), sink.count, f"{kind[0]}"
    sink.taken.clear()
    committed = owner.owe(kind, OWED, prefix + str(time.monotonic_ns()) + "-")
    await_true(lambda: sink.count - before >= OWED, "Not all arrived.", patience=100)
    await_marked(servers)
    waits = [at - committed for at in sink.taken.values()]
    print(told(f"  {OWED:,} at one instant, {kind}", waits))
    print(f"    {meter.told(OWED)}; second copies: {sink.count - before - len(waits)}")


def measure_new(servers: Servers, sink: LeanSink, owner: Owner) -> None:
    """New ones while so many older ones are owed."""
    owner.owe("plain", OWED, f"o{time.monotonic_ns()}-")
    starts = {}
    for number in range(NEW):
        starts[f"new{number}"] = owner.owe("new", 1, f"new{number}")
        time.sleep(PAUSE)
    left = servers.states()["owed"]
    await_true(lambda: starts.keys() <= sink.taken.keys(), "Not all arrived.", patience=100)
    await_marked(servers)
    waits = [sink.taken[key] - start for key, start in starts.items()]
    print(told(f"  {NEW} new behind {OWED:,} older ones ({left} still owed at the end)", waits))


def forget_news(servers: Servers, sink: LeanSink) -> None:
    with psycopg.connect(servers.database) as line:
        line.execute("DELETE FROM outbox_attempt")
        line.execute("DELETE FROM outbox_message WHERE key LIKE 'new%'")
    sink.taken.clear()


def bench_latency(servers: Servers, start_worker: StartWorker) -> None:
    with Owner(servers) as owner:
        for thinks in THINKS:
            with lean_sink(thinks) as sink:
                measure(servers, start_worker, sink, owner, thinks)


def measure(servers: Servers, start_worker: StartWorker, sink: LeanSink, owner: Owner, thinks: int) -> None:
    address = {"EMAIL_URL": mail_url(sink.port), **servers.environment}
    workers = [start_worker(wait=wait, **address) for wait in (False, True)]
    print(f"\nThe mail server thinks {thinks} ms; load {os.getloadavg()[0]:.1f} at the start:", flush=True)
    owner.owe("new", 1, f"first{thinks}")
    await_true(lambda: sink.count == 1, "The first did not arrive.")
    for kind in ("plain", "alert"):
        measure_burst(servers, workers, sink, owner, kind)
    measure_new(servers, sink, owner)
    forget_news(servers, sink)
    for each in workers:
        kill(each)
