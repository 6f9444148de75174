"""The web server as deployed, and Django by itself in the same way."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from portal.embedded import commands
from portal.embedded.place import PROJECT
from tests.browser.bank.server import HOST, _free_port, _listens
from tests.processes import all_pids, await_true, is_alive, parent_of

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


def memory_of(first: int) -> list[float]:
    """What each worker of a server has of its own, MiB: pages that it shares with its parent are left out."""
    workers = [each for each in all_pids() if parent_of(each) == first and is_alive(each)]
    return sorted(_own_mebibytes(each) for each in workers)


def _own_mebibytes(pid: int) -> float:
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    kinds = ("Private_Clean:", "Private_Dirty:")
    return sum(int(line.split()[1]) for line in lines if line.startswith(kinds)) / 1024
