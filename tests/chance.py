"""How much tests try that could try more: a part in the suite that everybody runs, all in the long one."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date
from random import Random
from typing import TypeVar

T = TypeVar("T")

# Whether all is tried: `make test-all` says so.
ALL = os.environ.get("CHANCE") == "all"
PART = 6
FEWEST = 6
# Each day draws another part. All processes of a run draw the same, and DRAWN_ON draws a former day's again.
DAY = os.environ.setdefault("DRAWN_ON", date.today().isoformat())


def tries(most: int) -> int:
    """How many examples, of the `most` that the long suite tries."""
    return most if ALL else min(most, max(most // PART, FEWEST))


def drawn(things: Sequence[T], number: int, about: str, day: str = DAY) -> list[T]:
    """So many of them, by the day's lot for what it is about, in their own order; all in the long suite."""
    if ALL or number >= len(things):
        return list(things)
    places = Random(f"{day} {about}").sample(range(len(things)), number)
    return [things[place] for place in sorted(places)]
