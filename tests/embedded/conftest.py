"""A state folder per test, and helpers that look at real processes."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.servers import temporary_state


@pytest.fixture
def state() -> Iterator[Path]:
    """An empty state folder that the servers' own user can reach."""
    with temporary_state() as folder:
        yield folder


@pytest.fixture
def bare_environment() -> dict[str, str]:
    """This environment without the addresses that the test run's own servers put there."""
    named = {"DATABASE_URL", "REDIS_URL", "EMAIL_URL", "PORTAL_STATE_DIR", "SECRET_KEY", "PYTEST_XDIST_WORKER"}
    return {name: value for name, value in os.environ.items() if name not in named}
