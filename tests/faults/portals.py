"""The processes of one portal on several machines, as far as one machine can play them."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
from django.conf import settings as django_settings
from django.db import connection

from portal.embedded import commands
from portal.embedded.demo import answers
from portal.embedded.inbox import free_port
from portal.embedded.place import PROJECT
from tests.faults.conftest import await_ready, database_url, kill
from tests.faults.servers import Servers
from tests.faults.steady_load import BUILD
from tests.processes import await_true

NOW, NEXT = "portal.settings", "tests.faults.next_release.settings"
Process = subprocess.Popen[bytes]


class SharedServers:
    """Those of the test run, with the test's own database: quicker, for a test that kills none of them."""

    def __init__(self) -> None:
        self.database = database_url(str(connection.settings_dict["NAME"]))
        self.environment = {"DATABASE_URL": self.database, "REDIS_URL": django_settings.REDIS_URL}


class Portal:
    """Web servers, workers and a scheduler by name, on servers of this test alone."""

    def __init__(self, environment: dict[str, str], folder: Path) -> None:
        self.environment, self.folder = environment, folder
        self.webs = [free_port(), free_port()]
        self.running: dict[str, Process] = {}
        self.started = 0

    def start(self, *names: str, settings: str = NOW) -> None:
        """Start "web0", "worker1", "beat" and their like, and wait until they work."""
        logs = {name: self._launch(name, settings) for name in names}
        for name, log in logs.items():
            self._await(name, log)

    def _launch(self, name: str, settings: str) -> Path:
        self.started += 1
        log = self.folder / f"{name}-{self.started}.log"
        with log.open("wb") as output:
            self.running[name] = subprocess.Popen(
                [sys.executable, "-m", *self._command(name)],
                cwd=PROJECT,
                env=os.environ | self.environment | {"DJANGO_SETTINGS_MODULE": settings},
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

    def kill_all(self) -> None:
        for process in self.running.values():
            kill(process)


@contextmanager
def portal_with(environment: dict[str, str], folder: Path) -> Iterator[Portal]:
    """A portal of which nothing runs yet; whatever runs at the end is killed."""
    made = Portal(environment, folder)
    try:
        yield made
    finally:
        made.kill_all()


def build_world(servers: Servers) -> dict[str, Any]:
    environment = os.environ | servers.environment | {"DJANGO_SETTINGS_MODULE": NOW}
    built = subprocess.run(
        [sys.executable, "-c", BUILD], cwd=PROJECT, env=environment, capture_output=True, check=True, timeout=60
    )
    return dict(json.loads(built.stdout))


def migrate(servers: Servers, settings: str = NOW) -> None:
    servers.run("manage.py", "migrate", "--skip-checks", "--verbosity", "0", "--settings", settings)


def read(database: str, statement: str) -> list[tuple[object, ...]]:
    with psycopg.connect(database) as line:
        return line.execute(statement).fetchall()
