"""Pytest plugin: every run gets a private PostgreSQL and Valkey of its own, thrown away at its end."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path

import pytest

from portal.embedded import place, postgres, sharing, valkey
from tests import migrated
from tests.states import is_held, temporary_state

PREFIX = "rifflebook-tests-"


# A wrapper, because pytest-django loads the settings in this very hook and they read the addresses.
@pytest.hookimpl(wrapper=True)
def pytest_load_initial_conftests(early_config: pytest.Config) -> Iterator[None]:
    """Put the servers' addresses into the environment before the settings are loaded."""
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    if worker:
        os.environ["REDIS_URL"] = valkey.numbered(os.environ["REDIS_URL"], worker_database(worker))
    else:
        servers = ExitStack()
        early_config.add_cleanup(servers.close)
        start_missing(servers)
    os.environ.setdefault("SECRET_KEY", "only-for-tests-" + "x" * 40)
    # The owner makes the test's database and then steps down (tests/conftest.py); programs begin below.
    os.environ["AS_DATABASE_OWNER"] = "1"
    try:
        return (yield)
    finally:
        del os.environ["AS_DATABASE_OWNER"]


def worker_database(worker: str) -> int:
    """The Redis database of an xdist worker (`gw0` and on); number 0 is left to runs without workers."""
    # 15 is the highest number that a server offers by default.
    return 1 + int(worker.removeprefix("gw")) % 15


def start_missing(servers: ExitStack) -> None:
    """Start what the environment names no address for, and give each run a state folder of its own."""
    remove_leftovers()
    state = servers.enter_context(temporary_state(PREFIX))
    os.environ["PORTAL_STATE_DIR"] = str(state)
    if "DATABASE_URL" not in os.environ:
        migrated.lay_out(state)
        os.environ[migrated.TEMPLATE] = place.PRODUCT
        os.environ["DATABASE_URL"] = servers.enter_context(postgres.running(state, durable=False))
    if "REDIS_URL" not in os.environ:
        os.environ["REDIS_URL"] = servers.enter_context(valkey.running(state))


def remove_leftovers() -> None:
    """Stop and remove what killed runs have left; living runs hold their locks and are passed over."""
    _remove_dead(PREFIX, {"postgres": postgres.running, "valkey": valkey.running})
    _remove_dead(migrated.PREFIX, {"postgres": postgres.running})


def _remove_dead(prefix: str, servers: Mapping[str, Callable[[Path], AbstractContextManager[str]]]) -> None:
    for state in Path(tempfile.gettempdir()).glob(f"{prefix}*"):
        if is_held(state):
            continue
        started = [state / name for name in servers if (state / name / "users.lock").exists()]
        if len(started) == len(servers) and not any(sharing.is_used(home) for home in started):
            with ExitStack() as running:
                for start in servers.values():
                    running.enter_context(start(state))
            shutil.rmtree(state, ignore_errors=True)
