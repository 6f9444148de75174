"""One world for all tests that begin with the same low visit."""

from __future__ import annotations

from copy import deepcopy

import pytest

from surveys.models import Visit
from tests.alerts.conftest import Watch, raised
from tests.lasting import built_once

once = built_once(raised)


@pytest.fixture
def alarm(once: tuple[Watch, Visit], db: None) -> tuple[Watch, Visit]:
    return deepcopy(once)


@pytest.fixture
def watch(alarm: tuple[Watch, Visit]) -> Watch:
    return alarm[0]


@pytest.fixture
def visit(alarm: tuple[Watch, Visit]) -> Visit:
    return alarm[1]
