"""`make demo` as a whole: every process real, and none left at the end."""

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest

from portal.embedded import place
from portal.embedded.inbox import free_port
from portal.embedded.supervise import GRACE
from tests import migrated
from tests.processes import (
    all_pids,
    await_true,
    command_of,
    is_alive,
    members_of_group,
    naming,
    parent_of,
)

READY = "Stop with Ctrl-C."
pytestmark = pytest.mark.faults


@dataclass
class Demo:
    """A demo that runs, and what it printed so far."""

    process: subprocess.Popen[bytes]
    state: Path
    port: int
    output: Path

    def said(self) -> str:
        return self.output.read_text()

    def children(self) -> dict[str, int]:
        """The portal's processes by the word that tells them apart; each leads a process group."""
        mine = [pid for pid in all_pids() if parent_of(pid) == self.process.pid and is_alive(pid)]
        words = {"gunicorn": "web", " worker ": "worker", " beat ": "beat"}
        return {name: pid for pid in mine for word, name in words.items() if word in command_of(pid)}

    def page(self) -> int:
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/", timeout=20) as answer:
            status: int = answer.status
        return status

    def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        return self.process.wait(timeout=GRACE + 20)


def start_demo(environment: dict[str, str], state: Path, port: int) -> Demo:
    output = state / f"said-{port}"
    with output.open("wb") as said:
        process = subprocess.Popen(
            [sys.executable, "-m", "portal.embedded.demo", "--groups", "1", "--months", "2"],
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            cwd=place.PROJECT,
            env=environment | {"PORTAL_STATE_DIR": str(state / "state"), "PORT": str(port)},
        )
    return Demo(process, state / "state", port, output)


def await_ready(demo: Demo) -> None:
    await_true(
        lambda: READY in demo.said() or demo.process.poll() is not None, "the demo is not up", patience=180
    )
    assert demo.process.poll() is None, demo.said()


def assert_nothing_left(demo: Demo, groups: list[int]) -> None:
    assert [pid for group in groups for pid in members_of_group(group)] == []
    assert naming(str(demo.state)) == {}


def database(demo: Demo) -> psycopg.Connection:
    return psycopg.connect(f"postgres://rifflebook@/rifflebook?host={demo.state}/postgres/run&port=5432")


@pytest.fixture
def start(bare_environment: dict[str, str], state: Path) -> Iterator[Callable[[], Demo]]:
    """Starts a demo and waits until it is up; what still runs at the end of the test is stopped."""
    started = []

    def start() -> Demo:
        started.append(start_demo(bare_environment, state, free_port()))
        await_ready(started[-1])
        return started[-1]

    yield start
    for demo in started:
        if demo.process.poll() is None:
            demo.end(signal.SIGTERM)


@pytest.mark.first
# From nothing it migrates for most of a minute, as tests/migrated.py does whenever a migration is new.
@pytest.mark.parametrize("begins", ["migrated", pytest.param("empty", marks=pytest.mark.long)])
def test_it_serves_and_restarts_what_dies_and_ends_whole_and_keeps_its_data(
    start: Callable[[], Demo], state: Path, begins: str
) -> None:
    if begins == "migrated":
        migrated.lay_out(state / "state")
    first = start()
    assert first.children().keys() == {"web", "worker", "beat"}
    assert first.page() == 200
    assert f"Open http://localhost:{first.port}/" in first.said()
    assert_restarted(first, "web")
    with database(first) as line:
        line.execute("CREATE TABLE kept AS SELECT 'kept' AS word")
    groups = [first.process.pid, *first.children().values()]
    assert first.end(signal.SIGINT) == 0
    assert_nothing_left(first, groups)

    second = start()
    with database(second) as line:
        assert line.execute("SELECT word FROM kept").fetchone() == ("kept",)
    groups = [second.process.pid, *second.children().values()]
    assert second.end(signal.SIGTERM) == 0
    assert_nothing_left(second, groups)


def assert_restarted(demo: Demo, name: str) -> None:
    before = demo.children()[name]
    os.killpg(before, signal.SIGKILL)
    await_true(lambda: demo.children().get(name, before) != before, f"{name} stayed down")
    assert f"{name} stopped (exit -9); starting it again" in demo.said()
    await_true(lambda: answers(demo), "the new web server never answered")


def answers(demo: Demo) -> bool:
    try:
        return demo.page() == 200
    except OSError:
        return False


def test_a_port_that_is_taken_is_named_with_the_remedy(bare_environment: dict[str, str], state: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        demo = start_demo(bare_environment, state, taken.getsockname()[1])
        assert demo.process.wait(timeout=30) == 1
    assert "PORT=8001 make demo" in demo.said()
    assert "Traceback" not in demo.said()


def test_a_failed_preparation_ends_with_its_reason_and_stops_the_servers(
    bare_environment: dict[str, str], state: Path
) -> None:
    demo = start_demo(bare_environment | {"TIME_ZONE": "Nowhere/None"}, state, free_port())
    assert demo.process.wait(timeout=60) == 1
    assert "The demo cannot start." in demo.said()
    assert naming(str(demo.state)) == {}
