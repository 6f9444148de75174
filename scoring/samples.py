"""What was recorded of a taxon: an exact count, a range, or only that it was there; and sums of these."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from scoring.subsampling import whole_tray_limits
from scoring.tables import read_table

Range = tuple[int, int | None]

# Limits as in tables/ranges.csv; the last one is open-ended.
ABUNDANCE_RANGES: tuple[Range, ...] = ((1, 9), (10, 99), (100, 999), (1000, None))


@dataclass(frozen=True)
class Count:
    """One line of a record: `count` alone is exact (0 = looked for and absent), `low` with `high` a range.

    `high` None with a `low` is open-ended; nothing but the taxon means "present, number not recorded".
    `fraction` is the share of the tray that was sorted: the number is that of the share, and is scaled up. What
    was picked out of the whole tray is a line of its own with fraction 1, which is never multiplied.
    Raises ValueError for a blank taxon, a negative number, a range that starts below 1 or ends below its start,
    a count given together with a range, and a fraction that is not above 0 and at most 1.
    """

    taxon: str
    count: int | None = None
    low: int | None = None
    high: int | None = None
    fraction: float = 1.0

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            raise ValueError(f"{self.taxon.strip() or 'a count'}: {problem}")

    def _problem(self) -> str:
        if not self.taxon.strip():
            return "the taxon is blank"
        if not 0 < self.fraction <= 1:
            return "the fraction sorted lies above 0 and is at most 1"
        if self.count is not None:
            return self._count_problem(self.count)
        if self.low is None:
            return "" if self.high is None else "the range has no lower limit"
        return _range_problem(self.low, self.high)

    def _count_problem(self, count: int) -> str:
        if self.low is not None or self.high is not None:
            return "give either a count or a range, not both"
        return "the count is below 0" if count < 0 else ""

    @property
    def is_present(self) -> bool:
        """False only where the taxon was looked for and not found."""
        return self.count != 0


def _range_problem(low: int, high: int | None) -> str:
    # A range from 0 would leave open whether the taxon was there at all.
    if low < 1:
        return "the range starts below 1"
    return "the range ends below its start" if high is not None and high < low else ""


@dataclass(frozen=True)
class Amount:
    """Animals of one taxon: the fewest and the most that fit the record, and the number taken for them.

    `most` is infinite for an open range. `number` is None where no number at all was recorded.
    """

    fewest: int
    number: float | None
    most: float

    def __add__(self, other: "Amount") -> "Amount":
        unknown = self.number is None or other.number is None
        number = None if unknown else (self.number or 0) + (other.number or 0)
        return Amount(self.fewest + other.fewest, number, self.most + other.most)

    @property
    def is_exact(self) -> bool:
        """True where the record leaves one number only."""
        return self.fewest == self.most


# A sample as the indices read it: recorded name -> animals, absent taxa left out, names in order.
Sample = Mapping[str, Amount]


def range_of(number: int) -> Range:
    """Return the abundance range that holds a count of at least 1; raises ValueError below."""
    if number < 1:
        raise ValueError("an abundance range needs at least one animal")
    return next((low, high) for low, high in ABUNDANCE_RANGES if high is None or number <= high)


def read_sample(counts: Iterable[Count]) -> Sample:
    """Join the lines of each recorded name. Case and spaces do not part names; the first spelling stays."""
    found: dict[str, tuple[str, Amount]] = {}
    # Sorted, so that the order of lines decides neither spelling nor rounding.
    for count in sorted(filter(lambda line: line.is_present, counts), key=lambda line: line.taxon):
        key = " ".join(count.taxon.casefold().split())
        name, before = found.get(key, (" ".join(count.taxon.split()), None))
        found[key] = (name, before + amount_of(count) if before else amount_of(count))
    return {name: amount for name, amount in found.values()}


def amount_of(count: Count) -> Amount:
    """Return the animals one line stands for, in the whole tray.

    A share of the tray leaves the number open: `fewest` and `most` are then 95 % limits (scoring.subsampling).
    """
    counted = _counted(count)
    if count.fraction == 1:
        return counted
    fewest, _ = whole_tray_limits(counted.fewest, count.fraction)
    most = math.inf if math.isinf(counted.most) else whole_tray_limits(counted.most, count.fraction)[1]
    return Amount(fewest, None if counted.number is None else counted.number / count.fraction, most)


def _counted(count: Count) -> Amount:
    if count.count is not None:
        return Amount(count.count, count.count, count.count)
    if count.low is None:
        return Amount(1, None, math.inf)
    most = math.inf if count.high is None else count.high
    return Amount(count.low, stand_in(count.low, count.high), most)


def stand_in(low: int, high: int | None) -> float:
    """Return the number taken for a range, never shown as a count.

    3, 33, 333 and 3333 for the four published ranges (tables/ranges.csv; numbers from memory). Any other range:
    the geometric mean of its limits; an open one: ten thirds of its start (common practice, no source).
    """
    published = _stand_ins().get((low, high))
    if published is not None:
        return published
    return low * 10 / 3 if high is None else math.sqrt(low * high)


@cache
def _stand_ins() -> Mapping[Range, float]:
    rows = read_table("ranges")
    return {
        (int(row["low"]), int(row["high"]) if row["high"] else None): float(row["stand_in"]) for row in rows
    }
