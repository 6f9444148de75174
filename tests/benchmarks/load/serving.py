"""The web server as deployed, and Django by itself in the same way."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection

from portal.embedded import commands
from portal.embedded.place import PROJECT
from tests.browser.bank.server import HOST, _free_port, _listens
from tests.processes import all_pids, await_true, is_alive, parent_of

TICKS = os.sysconf("SC_CLK_TCK")
PORTAL, BARE = (
    ("portal.wsgi", "portal.settings"),
    (
        "tests.benchmarks.load.bare_site",
        "tests.benchmarks.load.bare_settings",
    ),
)


@contextmanager
def serving(application: tuple[str, str]) -> Iterator[tuple[int, int]]:
    """Serve an application (module and settings); yields its port and the number of its first process."""
    module, settings = application
    port = _free_port()
    words = commands.web(f"{HOST}:{port}")
    command = [sys.executable, "-m", *(module if each == PORTAL[0] else each for each in words)]
    environment = os.environ | {"DJANGO_SETTINGS_MODULE": settings}
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(command, cwd=PROJECT, env=environment, stdout=log, stderr=log)
        try:
            await_true(lambda: _listens(port), f"{module} did not start")
            yield port, process.pid
        finally:
            process.terminate()
            try:
                process.wait(timeout=60)
            except subprocess.TimeoutExpired:
                # A worker that is still at a page on a busy machine holds nothing that must be kept.
                process.kill()
                process.wait()


def workers_of(first: int) -> list[int]:
    """The processes that serve."""
    return [each for each in all_pids() if parent_of(each) == first and is_alive(each)]


def memory_of(first: int) -> list[float]:
    """What each worker of a server has of its own, MiB: pages that it shares with its parent are left out."""
    return sorted(_own_mebibytes(each) for each in workers_of(first))


def work_of(first: int) -> dict[int, float]:
    """Processor time of each worker of a server and each process behind this database, s."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pid FROM pg_stat_activity WHERE datname = current_database()")
        behind = [pid for (pid,) in cursor.fetchall()]
    # What is on another machine, or has just ended, is not counted.
    return {pid: _seconds_of(pid) for pid in [*workers_of(first), *behind] if is_alive(pid)}


def _seconds_of(pid: int) -> float:
    words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, words[11:13])) / TICKS


def _own_mebibytes(pid: int) -> float:
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    kinds = ("Private_Clean:", "Private_Dirty:")
    return sum(int(line.split()[1]) for line in lines if line.startswith(kinds)) / 1024
