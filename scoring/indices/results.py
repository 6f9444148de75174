"""The shape of a score, shared by all indices."""

from collections.abc import Iterable
from dataclasses import dataclass

from scoring import sentences
from scoring.indices.grouping import Grouping
from scoring.indices.methods import METHODS
from scoring.samples import Amount

Parts = tuple[tuple[str, float], ...]
Limits = tuple[float, float] | tuple[None, None]
NO_LIMITS: Limits = (None, None)


@dataclass(frozen=True)
class Score:
    """One index of one sample. `value` None comes with `why_none`, a sentence for the reader.

    `used` and `left_out` hold names as recorded. `low` and `high` are the lowest and highest value that fit the
    record, given only where ranges leave more than one. `parts` tells what each scoring taxon gave; `rating` is
    the published class, where the method has one.
    """

    index: str
    version: str
    value: float | None
    used: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    why_none: str = ""
    low: float | None = None
    high: float | None = None
    rating: str = ""
    parts: Parts = ()


def make_score(
    index: str,
    grouping: Grouping,
    value: float | None,
    *,
    why_none: str = "",
    limits: Limits = NO_LIMITS,
    rating: str = "",
    parts: Parts = (),
) -> Score:
    """Return the score of a grouped sample under the index's present version."""
    version, (low, high) = METHODS[index].version, limits
    return Score(index, version, value, grouping.used, grouping.left_out, why_none, low, high, rating, parts)


def why_no_number(names: Iterable[str]) -> str:
    """Say whose number is missing."""
    return sentences.NO_NUMBER.format(names=", ".join(names))


def are_exact(amounts: Iterable[Amount]) -> bool:
    """True where every amount is one number, so that a score has no range."""
    return all(amount.is_exact for amount in amounts)


def spread(low: float, high: float) -> Limits:
    """Return lowest and highest value, none where they do not differ in any printed digit."""
    limits = tidy(low), tidy(high)
    return limits if limits[0] < limits[1] else NO_LIMITS


def tidy(value: float) -> float:
    """Cut the noise of binary fractions, far below any printed digit, so that limits compare as printed."""
    return round(value, 9)
