"""A state folder per test, and helpers that look at real processes."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from portal.embedded import place, postgres
from tests import migrated
from tests.states import temporary_state


@pytest.fixture
def state() -> Iterator[Path]:
    """An empty state folder that the servers' own user can reach."""
    with temporary_state() as folder:
        yield folder


@pytest.fixture(scope="session")
def made_data() -> Iterator[Path]:
    """A data folder of PostgreSQL as it is on its first day: to copy it is quicker than to make one."""
    with temporary_state() as folder:
        with postgres.running(folder, durable=False):
            pass
        yield folder / "postgres" / "data"


@pytest.fixture
def begun_state(state: Path, made_data: Path) -> Path:
    """A state folder in which a database has been made already."""
    migrated.copy(made_data, place.server_folder(state, "postgres") / "data")
    return state


@pytest.fixture
def bare_environment() -> dict[str, str]:
    """This environment without the addresses that the test run's own servers put there."""
    named = {"DATABASE_URL", "REDIS_URL", "EMAIL_URL", "PORTAL_STATE_DIR", "SECRET_KEY", "PYTEST_XDIST_WORKER"}
    return {name: value for name, value in os.environ.items() if name not in named}
