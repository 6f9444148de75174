"""What the clock asks of many incidents: each by itself, so that trouble with one leaves the others alone."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

from django.db import transaction

logger = logging.getLogger(__name__)
T = TypeVar("T")


class Trouble(RuntimeError):
    """Something could not be done; the next run tries again."""


class Clockwork:
    """Does one thing after the other, each in a transaction of its own, and counts.

    `finish` raises Trouble when anything failed, so that the task is seen to have failed.
    """

    def __init__(self) -> None:
        self._done, self._failed = 0, 0

    def each(self, things: Iterable[T], act: Callable[[T], bool]) -> None:
        """`act` says whether it had anything to do."""
        for thing in things:
            try:
                with transaction.atomic():
                    self._done += act(thing)
            except Exception:
                logger.exception("What the clock asks of %s could not be done.", thing)
                self._failed += 1

    def finish(self) -> int:
        """How many had anything to do. Raises Trouble."""
        if self._failed:
            raise Trouble(f"{self._failed} incidents could not be watched.")
        return self._done
