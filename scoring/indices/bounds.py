"""Lowest and highest value of an index that fit a record made of ranges."""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import product

from scoring.indices.results import NO_LIMITS, Limits, are_exact, spread
from scoring.samples import Amount

Measure = Callable[[Sequence[float]], float]

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
    limits = Counter((amount.fewest, min(amount.most, UNLIMITED)) for amount in amounts)
    if math.prod(times + 1 for times in limits.values()) > MOST_CORNERS:
        return NO_LIMITS
    lowest = min(measure(corner) for corner in _corners(limits))
    return spread(max(lowest, 0.0), _most_even(measure, amounts))


def _corners(limits: Mapping[tuple[int, float], int]) -> Iterator[list[float]]:
    # Taxa with equal limits can change places, so only how many stand at each limit matters.
    for highs in product(*(range(times + 1) for times in limits.values())):
        yield [
            limit
            for ((low, high), times), at_high in zip(limits.items(), highs, strict=True)
            for limit in [high] * at_high + [float(low)] * (times - at_high)
        ]


def _most_even(measure: Measure, amounts: Sequence[Amount]) -> float:
    edges = sorted({float(amount.fewest) for amount in amounts} | {min(a.most, UNLIMITED) for a in amounts})
    best = max(edges, key=lambda level: measure(_levelled(amounts, level)))
    at = edges.index(best)
    return _search(
        lambda level: measure(_levelled(amounts, level)), edges[max(at - 1, 0)], edges[at : at + 2][-1]
    )


def _levelled(amounts: Sequence[Amount], level: float) -> list[float]:
    return [min(max(level, amount.fewest), amount.most) for amount in amounts]


def _search(value_at: Callable[[float], float], left: float, right: float) -> float:
    """Return the highest value between two levels by cutting the interval in thirds; one peak only."""
    for _ in range(200):
        third = (right - left) / 3
        if value_at(left + third) < value_at(right - third):
            left += third
        else:
            right -= third
    return value_at((left + right) / 2)
