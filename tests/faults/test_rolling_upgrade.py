"""Web servers, workers and scheduler are replaced one by one under load, with `migrate` in the middle."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import psycopg
import pytest

from portal.embedded import commands
from portal.embedded.demo import answers
from portal.embedded.inbox import free_port
from portal.embedded.place import PROJECT
from tests.faults.conftest import await_ready, kill, mail_url
from tests.faults.round_robin import taking_turns
from tests.faults.servers import Servers
from tests.faults.soaking import Sink, sinking
from tests.faults.steady_load import BUILD, SITES, under_load
from tests.processes import await_true
from tests.servers import temporary_state

pytestmark = [pytest.mark.faults, pytest.mark.long]
NEXT = "tests.faults.next_release.settings"
STORED = "SELECT id::text FROM surveys_visit WHERE source = 'api'"
ALERTS = "SELECT count(DISTINCT incident_id) FROM alerts_incidentevent"
Process = subprocess.Popen[bytes]


class Portal:
    """The processes of one portal on several machines, as far as one machine can play them."""

    def __init__(self, servers: Servers, sink: Sink, folder: Path) -> None:
        self.servers, self.sink, self.folder = servers, sink, folder
        self.webs = [free_port(), free_port()]
        self.running: dict[str, Process] = {}
        self.started = 0

    def start(self, *names: str, settings: str = "portal.settings") -> None:
        """Start "web0", "worker1", "beat" and their like, and wait until they work."""
        logs = {name: self._launch(name, settings) for name in names}
        for name, log in logs.items():
            self._await(name, log)

    def _launch(self, name: str, settings: str) -> Path:
        self.started += 1
        log = self.folder / f"{name}-{self.started}.log"
        environment = self.servers.environment | {"EMAIL_URL": mail_url(self.sink.port)}
        with log.open("wb") as output:
            self.running[name] = subprocess.Popen(
                [sys.executable, "-m", *self._command(name)],
                cwd=PROJECT,
                env=os.environ | environment | {"DJANGO_SETTINGS_MODULE": settings},
                stdout=output,
                stderr=output,
                start_new_session=True,
            )
        return log

    def _command(self, name: str) -> list[str]:
        if name.startswith("web"):
            return commands.web(f"127.0.0.1:{self._port(name)}")
        return commands.beat(self.folder / "beat") if name == "beat" else [*commands.worker(), "-n", name]

    def _await(self, name: str, log: Path) -> None:
        if name.startswith("web"):
            address = f"http://127.0.0.1:{self._port(name)}/methods/"
            await_true(lambda: answers(address), f"{log} does not serve.", pause=0.1)
        elif name != "beat":
            await_ready(log)

    def _port(self, name: str) -> int:
        return self.webs[int(name.removeprefix("web"))]

    def replace(self, name: str) -> None:
        """As an operator does: SIGTERM, wait for its end, start the next release in its place."""
        old = self.running[name]
        old.send_signal(signal.SIGTERM)
        assert old.wait(timeout=40) == 0, f"{name} did not end by itself"
        self.start(name, settings=NEXT)

    def migrate(self, settings: str = "portal.settings") -> None:
        self.servers.run("manage.py", "migrate", "--skip-checks", "--verbosity", "0", "--settings", settings)


@pytest.fixture
def portal(tmp_path: Path) -> Iterator[Portal]:
    with temporary_state() as state, ExitStack() as stack:
        made = Portal(Servers(state, stack), stack.enter_context(sinking()), tmp_path)
        made.migrate()
        yield made
        for process in made.running.values():
            kill(process)


def build_world(servers: Servers) -> dict[str, object]:
    environment = os.environ | servers.environment | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
    built = subprocess.run(
        [sys.executable, "-c", BUILD], cwd=PROJECT, env=environment, capture_output=True, check=True, timeout=60
    )
    return dict(json.loads(built.stdout))


def read(servers: Servers, statement: str) -> list[tuple[object, ...]]:
    with psycopg.connect(servers.database) as line:
        return line.execute(statement).fetchall()  # type: ignore[arg-type]


def test_a_release_takes_the_place_of_another_under_load_and_nothing_is_lost(portal: Portal) -> None:
    world = build_world(portal.servers)
    parts = ["web0", "web1", "worker0", "worker1", "beat"]
    portal.start(*parts)
    with taking_turns(portal.webs) as proxy, under_load(proxy.port, world) as load:
        await_true(lambda: len(load.accepted) > 10, f"Nothing is accepted: {load.faults[:2]}")
        portal.migrate(NEXT)
        for part in parts:
            portal.replace(part)
        before = proxy.served.copy()
        await_true(lambda: all(proxy.served[web] > before[web] + 10 for web in portal.webs), "A web is idle.")

    print(
        f"\n{len(load.accepted)} visits, {load.statuses}, longest {load.longest:.1f} s,"
        f" {proxy.turned_away} asked of a server that was away"
    )
    assert load.faults == []
    stored = [number for (number,) in read(portal.servers, STORED)]
    assert sorted(stored) == sorted(load.accepted)
    assert len(stored) > 2 * SITES
    check_alerts(portal)


def check_alerts(portal: Portal) -> None:
    """Every site has its incident, and every mail that is owed for it has left, once."""
    assert read(portal.servers, ALERTS) == [(SITES,)]
    await_true(lambda: set(portal.servers.states()) == {"sent"}, f"Owed: {portal.servers.states()}")
    numbers = [copy.number for copy in portal.sink.copies]
    owed = [f"{number}" for (number,) in read(portal.servers, "SELECT id FROM outbox_message")]
    assert len(numbers) == len(set(numbers)) == len(owed) >= SITES
