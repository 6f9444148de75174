"""Runs calls at the same time on database connections of their own."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

from django.db import connections

from portal.accounts.walls import carried

T = TypeVar("T")
PATIENCE = 20


def _with_own_connection(call: Callable[[], T]) -> T:
    try:
        return call()
    finally:
        connections.close_all()


@contextmanager
def in_thread(call: Callable[[], T]) -> Any:
    """Start the call and give its Future; it has ended when the block is left."""
    with ThreadPoolExecutor(1) as pool:
        yield pool.submit(carried(_with_own_connection), call)


def run_together(*calls: Callable[[], T]) -> list[Future[T]]:
    """Start all calls at once and return their Futures, all of them done."""
    with ThreadPoolExecutor(len(calls)) as pool:
        return [pool.submit(carried(_with_own_connection), call) for call in calls]
