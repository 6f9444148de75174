"""A small demo, played once for all tests of this folder, which only look at it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction
from django.test.utils import override_settings

from portal.accounts.models import Group
from portal.demo.seeding import Extent, seed_demo

NOW = datetime(2026, 2, 20, 15, 0, tzinfo=ZoneInfo("Europe/London"))
SMALL = Extent(groups=1, months=3)


@pytest.fixture(scope="package")
def small_demo(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Group]:
    """One group and three months, kept in a transaction that is rolled back after the last of them."""
    media: Path = tmp_path_factory.mktemp("media")
    with django_db_blocker.unblock(), override_settings(MEDIA_ROOT=media), transaction.atomic():
        assert seed_demo(extent=SMALL, now=NOW)
        yield Group.objects.get(slug="quillet-headwaters")
        transaction.set_rollback(True)
