"""The broker and the database are killed under running workers, and come back: what is owed arrives."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import psycopg
import pytest
from celery import Celery

from portal.embedded import postgres, valkey
from portal.embedded.place import PROJECT
from tests.faults.conftest import StartWorker, mail_url
from tests.mail import Postbox
from tests.processes import await_true, kill_now
from tests.servers import temporary_state

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
OWED = 30
OWE_MANY = """
import django; django.setup()
from portal.outbox.services import owe_message
for number in range({count}):
    name = f"m{{number}}"
    owe_message(key=name, kind="test", to_address="a@agency.example", subject=name, text="x")
"""


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
        environment = os.environ | self.environment | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
        subprocess.run([sys.executable, *command], cwd=PROJECT, env=environment, check=True, timeout=120)

    def ask(self, *arguments: str, task: str = "portal.outbox.tasks.sweep_outbox") -> None:
        """Queue a task at this broker."""
        with Celery(broker=self.broker) as app:
            app.send_task(task, arguments)

    def states(self) -> Counter[str]:
        """How many messages are in which state."""
        with psycopg.connect(self.database) as line:
            return Counter(state for (state,) in line.execute("SELECT state FROM outbox_message"))

    def message_ids(self) -> list[str]:
        with psycopg.connect(self.database) as line:
            return [str(number) for (number,) in line.execute("SELECT id FROM outbox_message ORDER BY key")]


@pytest.fixture
def servers() -> Iterator[Servers]:
    with temporary_state() as state, ExitStack() as stack:
        made = Servers(state, stack)
        made.run("manage.py", "migrate", "--verbosity", "0")
        made.run("-c", OWE_MANY.format(count=OWED))
        yield made


def test_all_arrive_though_broker_and_database_are_killed_under_the_worker(
    servers: Servers, start_worker: StartWorker, postbox: Postbox
) -> None:
    postbox.hang_seconds = 0.05
    # One at a time, so that the queue at the broker still holds work when the broker dies.
    for number in servers.message_ids()[: OWED // 3]:
        servers.ask(number, task="portal.outbox.tasks.deliver_message")
    worker = start_worker(**servers.environment, EMAIL_URL=mail_url(postbox.port, timeout=1))
    await_true(lambda: len(postbox.mails) >= 3, "The nudges were not answered.")
    servers.kill("valkey/server.pid")
    servers.start()
    await_true(lambda: servers.states()["sent"] >= OWED // 3, "What was queued is lost with the broker.")
    assert len(postbox.mails) == servers.states()["sent"], "the broker alone makes no second copy"

    servers.ask()
    await_true(lambda: len(postbox.mails) >= OWED // 2, "The sweep did not come.")
    servers.kill("postgres/data/postmaster.pid")
    servers.start()
    assert servers.states()["owed"] > 0, "the database was killed too late to prove anything"

    def is_done() -> bool:
        servers.ask()
        return servers.states() == {"sent": OWED}

    await_true(is_done, "Something was lost.", pause=0.5)
    assert worker.poll() is None, "the same worker lived through both"
    copies = Counter(str(mail["Subject"]) for mail in postbox.mails)
    assert set(copies) == {f"m{number}" for number in range(OWED)}
    assert sum(copies.values()) <= OWED + 1, "only the message in flight when the database died"
    ids: set[Any] = {mail["Message-ID"] for mail in postbox.mails}
    assert len(ids) == OWED
