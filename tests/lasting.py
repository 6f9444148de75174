"""What many tests only look at is built once for all tests of a module, not once for each.

The rows stand in a transaction that is rolled back after the module, and each test works in a savepoint of its
own. The objects are shared, so a test takes copies. Not for tests whose rows other connections must see.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

import pytest
from django.db import transaction
from django.test import override_settings
from pytest_django import DjangoDbBlocker

T = TypeVar("T")


@contextmanager
def lasting_rows(blocker: DjangoDbBlocker) -> Iterator[None]:
    """Rows written inside stay until the end of the block; for fixtures that outlive a test."""
    with blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


def built_once(build: Callable[[], T]) -> Callable[..., Iterator[T]]:
    """A fixture of one module for what `build` makes; its files lie in a folder of the module's own."""

    @pytest.fixture(scope="module")
    def once(
        django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
    ) -> Iterator[T]:
        with override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("media")), lasting_rows(django_db_blocker):
            yield build()

    return once
