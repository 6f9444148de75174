"""Short ways to write a sample in a test."""

from collections.abc import Mapping

from scoring.indices import Score, score_sample
from scoring.samples import Count


def exact(counts: Mapping[str, int]) -> list[Count]:
    """Exact counts by taxon."""
    return [Count(taxon, count) for taxon, count in counts.items()]


def score(index: str, *counts: Count) -> Score:
    """The score of one index."""
    return score_sample(counts)[index]


def value(index: str, counts: Mapping[str, int]) -> float | None:
    """The value of one index for exact counts."""
    return score(index, *exact(counts)).value
