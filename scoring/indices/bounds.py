"""Lowest and highest value of an index that fit a record made of ranges."""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise, product

from scoring.indices.results import NO_LIMITS, Limits, are_exact, spread
from scoring.samples import Amount

Measure = Callable[[Sequence[float]], float]
Range = tuple[float, float]

# Stands for "no upper limit": so many animals that all others together move no printed digit.
UNLIMITED = 1e15
MOST_CORNERS = 5_000


def weighted_mean(values: Mapping[str, float], amounts: Mapping[str, Amount]) -> float:
    """Return the mean of the values weighted by the number taken for each taxon; numbers must be known."""
    numbers = {taxon: amount.number or 0.0 for taxon, amount in amounts.items()}
    products = math.fsum(values[taxon] * number for taxon, number in numbers.items())
    return products / math.fsum(numbers.values())


def limits_of_mean(values: Mapping[str, float], amounts: Mapping[str, Amount]) -> Limits:
    """Return lowest and highest weighted mean, none where all amounts are exact.

    At either end every taxon stands at a limit of its range: those above some value at one limit, those
    below it at the other.
    """
    if are_exact(amounts.values()):
        return NO_LIMITS
    taxa = sorted(amounts, key=lambda taxon: values[taxon])
    splits = range(len(taxa) + 1)
    means = [_split_mean(values, amounts, taxa[:at], taxa[at:]) for at in splits]
    means += [_split_mean(values, amounts, taxa[at:], taxa[:at]) for at in splits]
    return spread(min(means), max(means))


def _split_mean(
    values: Mapping[str, float], amounts: Mapping[str, Amount], few: Sequence[str], many: Sequence[str]
) -> float:
    numbers = {taxon: float(amounts[taxon].fewest) for taxon in few}
    numbers |= {taxon: min(amounts[taxon].most, UNLIMITED) for taxon in many}
    return math.fsum(values[taxon] * number for taxon, number in numbers.items()) / math.fsum(numbers.values())


def limits_of_diversity(measure: Measure, amounts: Sequence[Amount]) -> Limits:
    """Return lowest and highest value of a diversity measure; none for exact amounts or too many ranges.

    Shannon and 1 - sum p^2 are quasi-concave in the counts: the lowest value lies at a corner (every taxon at
    one of its limits), the highest where all counts come as near to one common number as their ranges allow.
    """
    if are_exact(amounts):
        return NO_LIMITS
    corners = _corners(amounts)
    if corners is None:
        return NO_LIMITS
    lowest = min(measure(corner) for corner in corners)
    return spread(max(lowest, 0.0), _most_even(measure, amounts))


def _corners(amounts: Sequence[Amount]) -> list[list[float]] | None:
    """Return the corners that may be lowest: above some level all ranges stand at their top, below it at their
    bottom, and only those that hold the level may do either. None where these are too many."""
    # Taxa with equal limits can change places, so only how many stand at the top matters.
    ranges = Counter((float(amount.fewest), min(amount.most, UNLIMITED)) for amount in amounts)
    levels = {limit for low, high in ranges if low < high for limit in (low, high)}
    tops = [_tops_possible(ranges, level) for level in levels]
    if sum(math.prod(map(len, choices)) for choices in tops) > MOST_CORNERS:
        return None
    return [_corner(ranges, chosen) for choices in tops for chosen in product(*choices)]


def _tops_possible(ranges: Mapping[Range, int], level: float) -> list[Sequence[int]]:
    return [
        (times,) if low > level else (0,) if high < level or low == high else range(times + 1)
        for (low, high), times in ranges.items()
    ]


def _corner(ranges: Mapping[Range, int], tops: Sequence[int]) -> list[float]:
    pairs = zip(ranges.items(), tops, strict=True)
    return [n for ((low, high), times), top in pairs for n in [high] * top + [low] * (times - top)]


def _most_even(measure: Measure, amounts: Sequence[Amount]) -> float:
    def value_at(level: float) -> float:
        return measure([min(max(level, amount.fewest), amount.most) for amount in amounts])

    edges = _edges(amounts)
    best = max(map(value_at, edges))
    pieces = [pair for pair in pairwise(edges) if best - max(map(value_at, pair)) < 1e-12]
    return max([best, *(_peak(value_at, left, right) for left, right in pieces)])


def _edges(amounts: Sequence[Amount]) -> list[float]:
    """Return the levels between which the same taxa stand at the level, in order."""
    ranges = [amount for amount in amounts if not amount.is_exact]
    edges = {float(limit) for amount in ranges for limit in (amount.fewest, amount.most) if limit < math.inf}
    if any(math.isinf(amount.most) for amount in ranges):
        # No taxon gains by standing above all closed limits, so an open range needs no search beyond them.
        edges.add(float(max(limit for a in amounts for limit in (a.fewest, a.most) if limit < math.inf)))
    return sorted(edges)


def _peak(value_at: Callable[[float], float], left: float, right: float) -> float:
    """Return the highest value between two levels by cutting the interval in thirds; one peak at most."""
    for _ in range(60):
        third = (right - left) / 3
        if value_at(left + third) < value_at(right - third):
            left += third
        else:
            right -= third
    return value_at((left + right) / 2)
