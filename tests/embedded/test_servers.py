"""The servers of the test runs themselves."""

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
import redis
from django.conf import settings
from django.db import connection

from portal.embedded import place, valkey
from tests.processes import naming
from tests.servers import PREFIX, remove_leftovers, worker_database
from tests.states import temporary_state

KILLED_RUN = """
import os, pathlib, sys
from portal.embedded import postgres, valkey
state = pathlib.Path(sys.argv[1])
with postgres.running(state, durable=False), valkey.running(state):
    print("up", flush=True)
    sys.stdin.read()
"""


@pytest.mark.django_db
def test_tests_run_on_a_postgresql_of_their_own() -> None:
    assert connection.vendor == "postgresql"
    assert connection.settings_dict["NAME"].startswith("test_")
    assert not str(settings.DATABASES["default"]["OPTIONS"].get("host", "")).startswith(str(place.PROJECT))


def test_tests_run_on_a_broker_of_their_own() -> None:
    with redis.Redis.from_url(valkey.client_address(os.environ["REDIS_URL"])) as line:
        assert line.ping()
    assert os.environ["REDIS_URL"] == settings.REDIS_URL


def test_each_worker_of_a_parallel_run_has_a_broker_database_of_its_own() -> None:
    assert [worker_database(f"gw{number}") for number in range(15)] == list(range(1, 16))


def test_what_a_living_run_has_not_yet_started_or_just_ended_is_left_alone() -> None:
    with temporary_state(PREFIX) as state:
        for name in ("postgres", "valkey"):
            (state / name).mkdir()
            (state / name / "users.lock").touch()
        remove_leftovers()
        assert state.exists()
    assert not state.exists()


def test_a_killed_run_is_cleared_by_the_next_one() -> None:
    state = Path(tempfile.mkdtemp(prefix=PREFIX))
    state.chmod(0o711)
    with subprocess.Popen(
        [sys.executable, "-c", KILLED_RUN, str(state)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=place.PROJECT,
    ) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == b"up\n"
        remove_leftovers()
        assert state.exists(), "a living run was taken for a leftover"
        os.kill(run.pid, signal.SIGKILL)
    assert naming(str(state)) != {}
    remove_leftovers()
    assert not state.exists()
    assert naming(str(state)) == {}
