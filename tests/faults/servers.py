"""A database and a broker that a test may kill, flush and start again."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from contextlib import ExitStack
from pathlib import Path

import psycopg
from celery import Celery

from portal.embedded import postgres, valkey
from portal.embedded.place import PROJECT
from tests.processes import kill_now


class Servers:
    """A database and a broker of this test alone, which it may kill and start again."""

    def __init__(self, state: Path, stack: ExitStack) -> None:
        self.state, self.stack = state, stack
        self.database, self.broker = "", ""
        self.start()

    def start(self) -> None:
        """Start what does not run; who runs already is joined."""
        self.database = self.stack.enter_context(postgres.running(self.state))
        self.broker = self.stack.enter_context(valkey.running(self.state))

    def kill(self, note: str) -> None:
        """kill -9 of the process whose number stands in this file."""
        kill_now(int((self.state / note).read_text().split()[0]))

    @property
    def environment(self) -> dict[str, str]:
        return {"DATABASE_URL": self.database, "REDIS_URL": self.broker, "PORTAL_STATE_DIR": str(self.state)}

    def run(self, *command: str) -> None:
        """Run Python with these servers."""
        assert self.begin(*command).wait(timeout=120) == 0

    def begin(
        self, *command: str, stdin: int | None = None, stdout: int | None = None
    ) -> subprocess.Popen[bytes]:
        """The same without waiting for its end."""
        environment = os.environ | self.environment | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
        return subprocess.Popen(
            [sys.executable, *command],
            cwd=PROJECT,
            env=environment,
            stdin=stdin,
            stdout=stdout,
            start_new_session=True,
        )

    def ask(self, *arguments: str, task: str = "portal.outbox.tasks.sweep_outbox") -> None:
        """Queue a task at this broker."""
        # Not the current one, which the tasks of the tests that follow would take.
        with Celery(broker=self.broker, set_as_current=False) as app:
            app.send_task(task, arguments)

    def states(self) -> Counter[str]:
        """How many messages are in which state."""
        with psycopg.connect(self.database) as line:
            return Counter(state for (state,) in line.execute("SELECT state FROM outbox_message"))

    def message_ids(self) -> list[str]:
        with psycopg.connect(self.database) as line:
            return [str(number) for (number,) in line.execute("SELECT id FROM outbox_message ORDER BY key")]
