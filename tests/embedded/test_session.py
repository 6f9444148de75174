"""`manage.py` as somebody types it, in a process of its own and with nothing set up."""

import os
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from portal.embedded import place, postgres, valkey
from portal.embedded.inbox import free_port
from portal.embedded.session import needs_database, own_servers
from tests.processes import await_true, is_alive, naming


def manage(*words: str) -> list[str]:
    return [sys.executable, str(place.PROJECT / "manage.py"), *words]


def run(environment: dict[str, str], *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(manage(*words), env=environment, text=True, capture_output=True, check=False)


@pytest.fixture
def nothing(bare_environment: dict[str, str], state: Path) -> dict[str, str]:
    """Nothing is set but the place for the state, so that the checkout's own is left alone."""
    return bare_environment | {"PORTAL_STATE_DIR": str(state)}


@pytest.fixture
def environment(nothing: dict[str, str], begun_state: Path) -> dict[str, str]:
    """The same where a database was made before."""
    return nothing


@pytest.mark.parametrize(
    "words", ["migrate", "shell", "runserver 8001", "import_visits x.csv", "check", "dbshell"]
)
def test_a_command_gets_the_database(words: str) -> None:
    assert needs_database(["manage.py", *words.split()])


@pytest.mark.parametrize(
    "words",
    ["", "help", "help migrate", "migrate --help", "-h", "--version", "score_counts x.csv", "makemessages"],
)
def test_a_command_that_needs_no_database_starts_none(words: str) -> None:
    assert not needs_database(["manage.py", *words.split()])


def test_a_command_works_with_nothing_set_up_and_stops_the_database_after(
    nothing: dict[str, str], state: Path
) -> None:
    done = run(nothing, "shell", "--no-imports", "-c", ASK)
    assert (done.returncode, done.stdout.strip()) == (0, "rifflebook 1"), done.stderr
    assert not naming(str(state))


ASK = """
from django.db import connection
with connection.cursor() as cursor:
    cursor.execute("SELECT current_database(), 1")
    print(*cursor.fetchone())
"""


def test_help_touches_nothing(nothing: dict[str, str], state: Path) -> None:
    assert run(nothing, "help", "migrate").returncode == 0
    assert not (state / "postgres").exists()


def test_a_command_joins_the_database_that_runs_already(environment: dict[str, str], state: Path) -> None:
    with postgres.running(state, durable=False):
        note = (state / "postgres" / "data" / "postmaster.pid").read_text()
        assert run(environment, "shell", "--no-imports", "-c", ASK).returncode == 0
        assert (state / "postgres" / "data" / "postmaster.pid").read_text() == note


def test_a_command_uses_the_database_that_the_environment_names(
    environment: dict[str, str], state: Path, tmp_path: Path
) -> None:
    with postgres.running(state, durable=False) as address:
        named = environment | {"DATABASE_URL": address, "PORTAL_STATE_DIR": str(tmp_path)}
        assert run(named, "shell", "--no-imports", "-c", ASK).returncode == 0
    assert not (tmp_path / "postgres").exists()


def test_the_exit_code_of_a_failing_command_is_kept(environment: dict[str, str], state: Path) -> None:
    assert run(environment, "shell", "--no-imports", "-c", "raise SystemExit(7)").returncode == 7
    assert not naming(str(state))


def test_a_command_that_is_asked_to_end_stops_its_database(environment: dict[str, str], state: Path) -> None:
    command = manage("shell", "--no-imports", "-c", "print('here', flush=True); import time; time.sleep(60)")
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "here\n"
        process.send_signal(signal.SIGTERM)
    assert process.returncode == 128 + signal.SIGTERM
    assert not naming(str(state))


def test_the_development_server_reloads_on_one_database_and_leaves_nothing(
    environment: dict[str, str], state: Path
) -> None:
    port = free_port()
    command = manage("runserver", str(port), "--skip-checks")
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with subprocess.Popen(command, env=environment | {"DEBUG": "1"}, start_new_session=True, **quiet) as server:
        await_true(lambda: answers(port), "the development server never answered")
        family = naming(f"runserver {port}")
        # The parent watches, the child serves.
        assert len(family) == 2
        os.killpg(server.pid, signal.SIGINT)
    assert not any(is_alive(pid) for pid in family)
    assert not naming(str(state))


def answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/static/none", timeout=10):
            return True
    except urllib.error.HTTPError:
        return True
    except OSError:
        return False


def test_without_a_broker_the_private_one_is_named(monkeypatch: pytest.MonkeyPatch, state: Path) -> None:
    monkeypatch.setenv("PORTAL_STATE_DIR", str(state))
    monkeypatch.delenv("DATABASE_URL")
    monkeypatch.delenv("REDIS_URL")
    with own_servers(["manage.py", "migrate"]):
        assert os.environ["REDIS_URL"] == valkey.address(state)
    monkeypatch.setenv("REDIS_URL", "redis://broker.example/0")
    monkeypatch.delenv("DATABASE_URL")
    with own_servers(["manage.py", "migrate"]):
        assert os.environ["REDIS_URL"] == "redis://broker.example/0"


def test_a_database_that_cannot_start_ends_the_command_with_its_reason(
    environment: dict[str, str], state: Path
) -> None:
    done = run(environment | {"PORTAL_POSTGRES_BIN": str(state)}, "migrate")
    assert done.returncode == 1
    assert "No PostgreSQL found" in done.stderr
    assert "Traceback" not in done.stderr
