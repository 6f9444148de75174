"""Everything goes wrong at once, on purpose: workers, broker, database and mail server.

`Soak` owes alerts from a process of its own and brings trouble by trouble over what delivers them; `Report`
says what came of it. The suite runs a short one, `make soak` a long one.
"""

from __future__ import annotations

import asyncio
import email
import logging
import random
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import psycopg
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from redis import Redis

from portal.embedded import valkey
from portal.embedded.inbox import free_port
from tests.faults.conftest import StartWorker, Worker, kill, mail_url
from tests.faults.servers import Servers
from tests.processes import await_true

# What a web server does: a visit that could not be saved is sent in again. Each line says how many to owe.
OWE = """
import itertools, sys, time, django; django.setup()
from django.db import DatabaseError, connection
from portal.outbox.services import owe_message
names = (f"n{number}" for number in itertools.count())
def owe(name):
    try:
        owe_message(key=name, kind="alert", to_address="a@agency.example", subject=name, text="Low.")
    except DatabaseError:
        connection.close()
        time.sleep(0.1)
        owe(name)
for line in sys.stdin:
    for name in itertools.islice(names, int(line)):
        owe(name)
time.sleep(1)
"""
SILENT, REFUSING, CUTTING, SWALLOWING = "silent", "refusing", "cutting", "swallowing"
LATE_ANSWER = "the line was cut when the server had taken it"
KILLED = "its worker was killed with it in hand"
RESTARTED = "the database was restarted with it in hand"
UNEXPLAINED = "unexplained"


@dataclass(frozen=True)
class Copy:
    """One acceptance by the mail server."""

    key: str
    number: str
    at: float


@dataclass
class Sink:
    """A mail server that keeps little and misbehaves as it is told."""

    port: int = field(default_factory=free_port)
    trouble: str = ""
    copies: list[Copy] = field(default_factory=list)

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.trouble == SILENT:
            await asyncio.sleep(30)
        if self.trouble == REFUSING:
            return "451 not now"
        envelope.mail_from = address
        return "250 sender ok"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        mail = email.message_from_bytes(envelope.original_content or b"")
        self.copies.append(Copy(str(mail["Subject"]), str(mail["Message-ID"]), time.monotonic()))
        if self.trouble == SWALLOWING:
            server.transport.abort()  # type: ignore[union-attr]
        # Long enough for a kill to fall between taking and marking.
        await asyncio.sleep(0.01)
        return "250 accepted"


class CuttingSMTP(SMTP):
    """Hangs up in the middle of the message when its sink is told to."""

    async def smtp_DATA(self, arg: str) -> None:
        if self.event_handler.trouble != CUTTING:
            await super().smtp_DATA(arg)
            return
        await self.push("354 go on")
        await self._reader.readline()
        self.transport.abort()  # type: ignore[union-attr]


class CuttingController(Controller):
    def factory(self) -> SMTP:
        return CuttingSMTP(self.handler, **self.SMTP_kwargs)


@contextmanager
def sinking() -> Iterator[Sink]:
    """Run the mail server for the while."""
    # With `-s` every word of each conversation would be shown.
    logging.getLogger("mail.log").setLevel(logging.WARNING)
    sink = Sink()
    server = CuttingController(sink, hostname="127.0.0.1", port=sink.port)
    server.start()
    try:
        yield sink
    finally:
        server.stop()


@dataclass
class Report:
    """What came of it."""

    owed: int
    copies: list[Copy]
    causes: dict[str, str]
    calm_at: float
    troubles: Counter[str]

    @property
    def missing(self) -> int:
        """How many alerts nobody received."""
        return self.owed - len({copy.key for copy in self.copies})

    @property
    def last_after(self) -> float:
        """When the last alert was first received, s after the end of all troubles."""
        first: dict[str, float] = {}
        for copy in self.copies:
            first.setdefault(copy.key, copy.at)
        return max(first.values()) - self.calm_at

    @property
    def numbers(self) -> set[tuple[str, str]]:
        """Alerts with their Message-ID: as many as alerts, if copies carry the number of the first."""
        return {(copy.key, copy.number) for copy in self.copies}

    def told(self) -> str:
        """The figures in words."""
        lines = [
            f"{self.owed:,} alerts owed; troubles: {dict(self.troubles)}",
            f"missing: {self.missing}; the last was received {max(self.last_after, 0):.1f} s after the restart",
            f"second copies: {len(self.copies) - self.owed} of {len(self.causes)} alerts",
        ]
        return "\n".join(lines + [f"  {cause}: {n}" for cause, n in Counter(self.causes.values()).items()])


class Soak:
    """Owes, troubles, waits, reports."""

    def __init__(
        self, servers: Servers, sink: Sink, start_worker: StartWorker, seed: int, timeout: int
    ) -> None:
        self.servers, self.sink, self.dice = servers, sink, random.Random(seed)
        self._start = partial(start_worker, EMAIL_URL=mail_url(sink.port, timeout), **servers.environment)
        self.workers: list[Worker] = [self._start(wait=wait) for wait in (False, True)]
        self.troubles: Counter[str] = Counter()
        self.held: dict[str, str] = {}
        self.owed = 0
        self.web = servers.begin("-c", OWE, stdin=subprocess.PIPE)

    def owe(self, count: int) -> None:
        """Have so many more owed, while something else happens."""
        assert self.web.stdin is not None
        self.web.stdin.write(f"{count}\n".encode())
        self.web.stdin.flush()
        self.owed += count

    @property
    def kinds(self) -> list[Callable[[], None]]:
        """Every kind of trouble; workers die more often than the rest."""
        mail = [partial(self.mail, each) for each in (SILENT, REFUSING, CUTTING, SWALLOWING)]
        kills = [self.kill_worker] * 3
        return [*kills, self.kill_broker, self.flush_broker, self.kill_database, *mail]

    def all_kinds_once(self, portion: int) -> None:
        """Each kind in random order, soon after so many more alerts are owed."""
        for trouble in self.dice.sample(self.kinds, len(self.kinds)):
            before = len(self.sink.copies)
            self.owe(portion)
            self._await_some(before + self.dice.randint(1, 5))
            trouble()

    def _await_some(self, copies: int) -> None:
        """Until so many were received; for a while only, because the trouble before may still hold all up."""
        end = time.monotonic() + 4
        while len(self.sink.copies) < copies and time.monotonic() < end:
            time.sleep(0.01)

    def kill_worker(self) -> None:
        """kill -9 while it has something in hand, if it takes less than 2 s to happen; another is started."""
        end = time.monotonic() + 2
        while not self._in_hand() and time.monotonic() < end:
            time.sleep(0.005)
        kill(self.workers.pop(0))
        self._blame(self._in_hand(), KILLED)
        self.troubles["worker killed"] += 1
        self.workers.append(self._start(wait=False))

    def kill_broker(self) -> None:
        self.servers.kill("valkey/server.pid")
        self.servers.start()
        self.troubles["broker killed"] += 1

    def flush_broker(self) -> None:
        Redis.from_url(valkey.client_address(self.servers.broker)).flushall()
        self.troubles["broker flushed"] += 1

    def kill_database(self) -> None:
        held = self._in_hand()
        self.servers.kill("postgres/data/postmaster.pid")
        self.servers.start()
        self._blame(held | self._in_hand(), RESTARTED)
        self.troubles["database restarted"] += 1

    def mail(self, trouble: str) -> None:
        """The mail server misbehaves for a while, briefly where each message tried makes a second copy."""
        self.sink.trouble = trouble
        time.sleep(0.3 if trouble == SWALLOWING else 1.5)
        self.sink.trouble = ""
        self.troubles[f"mail server {trouble}"] += 1

    def finish(self, ask: Callable[[], None], patience: float) -> Report:
        """Wait until all are received and marked; `ask` is called twice a second meanwhile."""
        calm_at = time.monotonic()
        self.web.communicate(timeout=60)

        def is_done() -> bool:
            ask()
            return self.servers.states() == {"sent": self.owed}

        await_true(is_done, f"Something was lost: {self.servers.states()}", patience, pause=0.5)
        copies = list(self.sink.copies)
        return Report(self.owed, copies, self._causes(copies), calm_at, self.troubles)

    def hurry(self) -> None:
        """What half a minute does: whatever was put off is due; and a sweep, as the scheduler asks for."""
        self._all("UPDATE outbox_message SET not_before = now() WHERE state = 'owed' AND not_before > now()")
        self.servers.ask()

    def _causes(self, copies: list[Copy]) -> dict[str, str]:
        twice = {key for key, times in Counter(copy.key for copy in copies).items() if times > 1}
        cut = self._all(
            "SELECT key FROM outbox_message m JOIN outbox_attempt a ON a.message_id = m.id"
            " WHERE NOT a.succeeded AND NOT a.no_server AND a.code IS NULL"
        )
        late = {key for (key,) in cut}
        return {key: LATE_ANSWER if key in late else self.held.get(key, UNEXPLAINED) for key in twice}

    def _blame(self, keys: set[str], cause: str) -> None:
        """The first cause stands: what a dead worker held is in hand until its claim has run out."""
        self.held = dict.fromkeys(keys, cause) | self.held

    def _in_hand(self) -> set[str]:
        held = "SELECT key FROM outbox_message WHERE state = 'owed' AND claimed_until IS NOT NULL"
        return {key for (key,) in self._all(held)}

    def _all(self, statement: str) -> list[tuple[Any, ...]]:
        with psycopg.connect(self.servers.database) as line:
            cursor = line.execute(statement)
            return cursor.fetchall() if cursor.description else []
