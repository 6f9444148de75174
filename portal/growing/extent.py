"""How much to grow, and from which seed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

MONTH = 30.4
# Sites drawn at a time: keeps one part's rows at some tens of megabytes.
PART = 6_000
Say = Callable[[str], None]


@dataclass(frozen=True)
class Extent:
    """So many groups with so many sites each, visited monthly over so many years, up to the day before `until`.

    `first` is the number of the first group: what is grown beside others takes other numbers and other chances.
    """

    groups: int
    sites: int
    years: int
    until: date
    seed: int = 1
    first: int = 1

    @property
    def rounds(self) -> int:
        """Visits planned to each site."""
        return 12 * self.years

    @property
    def begins(self) -> date:
        """The day on which the groups were founded."""
        return self.round_begins(0) - timedelta(days=30)

    def round_begins(self, number: int) -> date:
        """The first day of a round of visits, which lasts a month."""
        return self.until - timedelta(days=round(MONTH * (self.rounds - number)) + 1)

    def chance(self, *what: int) -> np.random.Generator:
        """Chances of one part of the work, the same whatever was drawn before."""
        return np.random.default_rng([self.seed, self.first, *what])

    def parts(self) -> Iterator[slice]:
        """The sites, numbered through all groups, in parts."""
        total = self.groups * self.sites
        yield from (slice(start, min(start + PART, total)) for start in range(0, total, PART))


def numbers(rng: np.random.Generator, count: int) -> list[str]:
    """So many random UUIDs (version 4) as text."""
    raw = np.frombuffer(rng.bytes(16 * count), dtype=np.uint8).reshape(count, 16).copy()
    raw[:, 6] = raw[:, 6] & 0x0F | 0x40
    raw[:, 8] = raw[:, 8] & 0x3F | 0x80
    digits = raw.tobytes().hex()
    starts = range(0, 32 * count, 32)
    return ["-".join(digits[at + a : at + b] for a, b in _PIECES) for at in starts]


_PIECES = ((0, 8), (8, 12), (12, 16), (16, 20), (20, 32))
