"""The broker and the database are killed under running workers, and come back: what is owed arrives."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from tests import migrated
from tests.faults.conftest import StartWorker, mail_url
from tests.faults.servers import Servers
from tests.mail import Postbox
from tests.processes import await_true
from tests.states import temporary_state

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
OWED = 30
OWE_MANY = """
import django; django.setup()
from portal.outbox.services import owe_message
for number in range({count}):
    name = f"m{{number}}"
    owe_message(key=name, kind="test", to_address="a@agency.example", subject=name, text="x")
"""


@pytest.fixture
def servers() -> Iterator[Servers]:
    with temporary_state() as state, ExitStack() as stack:
        migrated.lay_out(state)
        made = Servers(state, stack)
        made.run("-c", OWE_MANY.format(count=OWED))
        yield made


def test_all_arrive_though_broker_and_database_are_killed_under_the_worker(
    servers: Servers, start_worker: StartWorker, postbox: Postbox
) -> None:
    postbox.hang_seconds = 0.05
    # One at a time, so that the queue at the broker still holds work when the broker dies.
    for number in servers.message_ids()[: OWED // 3]:
        servers.ask(number, task="portal.outbox.tasks.deliver_message")
    # By one line: each line may have a message in flight when the database dies.
    sending = f"{mail_url(postbox.port, timeout=1)}&lines=1"
    worker = start_worker(**servers.environment, EMAIL_URL=sending)
    await_true(lambda: len(postbox.mails) >= 3, "The nudges were not answered.")
    servers.kill("valkey/server.pid")
    servers.start()
    await_true(lambda: servers.states()["sent"] >= OWED // 3, "What was queued is lost with the broker.")
    so_far = [str(mail["Subject"]) for mail in postbox.mails]
    assert len(so_far) == len(set(so_far)), "the broker alone makes no second copy"

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
