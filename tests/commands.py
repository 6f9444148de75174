"""Commands as a user meets them: exit status and the two streams."""

from __future__ import annotations

import subprocess
import sys
from subprocess import CompletedProcess

import pytest
from django.core.management import execute_from_command_line

from portal.embedded.place import PROJECT


def in_own_process(*words: str) -> CompletedProcess[str]:
    """`manage.py` with these words, as in a shell; starting Python anew takes a second."""
    command = [sys.executable, "manage.py", *words]
    return subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, timeout=60, check=False)


def in_this_process(streams: pytest.CaptureFixture[str], *words: str) -> CompletedProcess[str]:
    """The same command line read, run and ended by Django in the test's own process."""
    status = 0
    streams.readouterr()
    try:
        execute_from_command_line(["manage.py", *words])
    except SystemExit as end:
        status = int(end.code or 0)
    said = streams.readouterr()
    return CompletedProcess(words, status, said.out, said.err)
