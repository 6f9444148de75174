"""The suite looks for rubbish seldom, and yet finds it."""

from __future__ import annotations

import gc
import weakref

from tests.rubbish import THRESHOLDS


class Ring:
    """Holds itself, so that only a search frees it."""

    def __init__(self) -> None:
        self.itself = self


def test_what_was_imported_is_not_looked_through_again() -> None:
    # Modules alone are more than that.
    assert gc.get_freeze_count() > 50_000
    assert gc.get_threshold() == THRESHOLDS


def test_rubbish_of_tests_is_found_all_the_same() -> None:
    assert gc.isenabled()
    kept = weakref.ref(Ring())
    gc.collect()
    assert kept() is None


def test_it_is_found_without_asking() -> None:
    """Else a long run would need ever more memory."""
    kept = weakref.ref(Ring())
    pile = [[] for _ in range(2 * THRESHOLDS[0])]  # type: list[list[int]]
    assert kept() is None
    assert pile
