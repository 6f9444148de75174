"""A real Celery worker in a process of its own, on the test's database and broker, that can be killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.conf import settings as django_settings
from django.db import connection
from pytest_django import Settings

from portal.celery import app
from portal.embedded.place import PROJECT
from tests.mail import Postbox, receiving, smtp_settings
from tests.processes import await_true

Worker = subprocess.Popen[bytes]
StartWorker = Callable[..., Worker]


@pytest.fixture
def postbox(settings: Settings) -> Iterator[Postbox]:
    with receiving() as box:
        settings.OUTBOX_SMTP = smtp_settings(box.port)
        yield box


@pytest.fixture
def empty_queue() -> Iterator[None]:
    """Nothing of another test waits at the broker, before or after."""
    _purge()
    yield
    _purge()


def _purge() -> None:
    with app.connection_for_write() as line:
        app.control.purge(connection=line)


@pytest.fixture
def start_worker(postbox: Postbox, empty_queue: None, tmp_path: Path) -> Iterator[StartWorker]:
    """Start a worker, with other addresses where they are given; all are killed at the end."""
    workers: list[Worker] = []

    def start(*, wait: bool = True, **environment: str) -> Worker:
        log = tmp_path / f"worker-{len(workers)}.log"
        workers.append(_launch({"EMAIL_URL": mail_url(postbox.port)} | environment, log))
        if wait:
            await_ready(log)
        return workers[-1]

    yield start
    for worker in workers:
        kill(worker)


def mail_url(port: int, timeout: int = 20) -> str:
    """The EMAIL_URL of a server at this port. A claim stands six times the timeout."""
    return f"smtp://127.0.0.1:{port}?timeout={timeout}"


def await_ready(log: Path) -> None:
    """Wait until the worker that writes this log takes work."""
    await_true(lambda: b" ready." in log.read_bytes(), f"The worker did not start: {log}", patience=60)


def _launch(given: dict[str, str], log: Path) -> Worker:
    usual = {
        "DATABASE_URL": database_url(str(connection.settings_dict["NAME"])),
        "REDIS_URL": django_settings.REDIS_URL,
        "DJANGO_SETTINGS_MODULE": "portal.settings",
    }
    environment = os.environ | usual | given
    command = [sys.executable, "-m", "celery", "-A", "portal", "worker", "--pool", "solo", "--loglevel", "info"]
    # The file stays open in the worker alone.
    with log.open("wb") as output:
        return subprocess.Popen(
            command, cwd=PROJECT, env=environment, stdout=output, stderr=output, start_new_session=True
        )


def database_url(name: str) -> str:
    """The address of the test's own database: the one of the settings with the test's name."""
    parts = urlsplit(os.environ["DATABASE_URL"])
    # Not `_replace(...).geturl()`, which drops the empty host's slashes.
    return f"{parts.scheme}://{parts.netloc}/{name}?{parts.query}"


def kill(worker: Worker) -> None:
    """kill -9, which no program can answer."""
    with suppress(ProcessLookupError):
        os.killpg(worker.pid, signal.SIGKILL)
    worker.wait(timeout=20)
