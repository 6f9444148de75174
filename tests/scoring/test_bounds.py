"""Lowest and highest value against a search through every record that fits."""

import itertools
import math
from collections.abc import Iterator, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring.indices.bounds import Measure, limits_of_diversity, limits_of_mean, weighted_mean
from scoring.indices.diversity import shannon_of, simpson_of
from scoring.samples import Amount

amounts = st.tuples(st.integers(1, 6), st.integers(0, 6)).map(
    lambda pair: Amount(pair[0], pair[0] + pair[1] / 2, pair[0] + pair[1])
)
samples = st.lists(amounts, min_size=2, max_size=4)


def fitting(sample: Sequence[Amount]) -> Iterator[tuple[int, ...]]:
    return itertools.product(*(range(amount.fewest, int(amount.most) + 1) for amount in sample))


@settings(max_examples=60)
@given(samples, st.sampled_from([shannon_of, simpson_of]))
def test_it_bounds_a_diversity_by_what_the_record_allows(sample: list[Amount], measure: Measure) -> None:
    values = [measure(numbers) for numbers in fitting(sample)]
    low, high = limits_of_diversity(measure, sample)
    if low is None or high is None:
        assert max(values) - min(values) < 1e-8
        return
    assert low == pytest.approx(min(values), abs=1e-8)
    # Between whole numbers the measure can stand a little higher than on them.
    assert max(values) - 1e-8 <= high <= max(values) + 0.02


@settings(max_examples=60)
@given(samples, st.lists(st.integers(0, 10), min_size=4, max_size=4))
def test_it_bounds_a_weighted_mean_by_what_the_record_allows(sample: list[Amount], weights: list[int]) -> None:
    named = {str(at): amount for at, amount in enumerate(sample)}
    values = {str(at): float(weights[at]) for at in range(len(sample))}
    means = [
        sum(weights[at] * number for at, number in enumerate(numbers)) / sum(numbers)
        for numbers in fitting(sample)
    ]
    low, high = limits_of_mean(values, named)
    assert (low if low is not None else means[0]) == pytest.approx(min(means), abs=1e-8)
    assert (high if high is not None else means[0]) == pytest.approx(max(means), abs=1e-8)


def test_it_weights_a_mean_by_the_numbers() -> None:
    assert weighted_mean({"a": 2, "b": 6}, {"a": Amount(3, 3, 3), "b": Amount(1, 1, 1)}) == 3


def test_it_gives_no_limits_for_exact_amounts() -> None:
    exact = [Amount(3, 3, 3), Amount(4, 4, 4)]
    assert limits_of_diversity(shannon_of, exact) == (None, None)
    assert limits_of_mean({"a": 1, "b": 2}, dict(zip("ab", exact, strict=True))) == (None, None)


def test_it_bounds_a_tray_of_thirty_taxa_in_the_four_ranges() -> None:
    ranges = [Amount(1, 3, 9), Amount(10, 33, 99), Amount(100, 333, 999), Amount(1000, 3333, math.inf)]
    low, high = limits_of_diversity(shannon_of, [*ranges[:3] * 8, *ranges[3:] * 6])
    assert low == 0
    assert high is not None
    assert math.log(6) <= high <= math.log(30)


def test_it_gives_up_where_the_ranges_are_too_many_to_try() -> None:
    many = [Amount(1, 2 + at, 3 + at) for at in range(20)]
    assert limits_of_diversity(shannon_of, many) == (None, None)


def test_it_reaches_full_evenness_where_all_ranges_meet() -> None:
    low, high = limits_of_diversity(shannon_of, [Amount(1, 3, 9), Amount(5, 10, 20), Amount(7, 7, 7)])
    assert high == pytest.approx(math.log(3))
    assert low is not None
    assert low < math.log(3)


def test_it_lets_an_open_range_rise_to_an_exact_count() -> None:
    exact, open_range = Amount(500, 500, 500), Amount(10, 33, math.inf)
    assert limits_of_diversity(shannon_of, [exact, open_range])[1] == pytest.approx(math.log(2))


def test_it_tries_no_level_that_only_exact_counts_have() -> None:
    calls: list[int] = []

    def measure(numbers: Sequence[float]) -> float:
        calls.append(len(numbers))
        return shannon_of(numbers)

    exact = [Amount(number, number, number) for number in range(20, 60)]
    assert limits_of_diversity(measure, [Amount(1, 3, 9), *exact])[0] is not None
    # Two corners, two edges, and one search of 121 steps between them.
    assert len(calls) < 140
