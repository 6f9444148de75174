"""Before and after, upstream and downstream; published examples and scipy are in tests/published."""

import math
from collections.abc import Sequence
from itertools import combinations, product
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.comparison import (
    MOST_EXACT_PAIRS,
    MOST_EXACT_VALUES,
    Comparison,
    compare_impact,
    compare_pairs,
    compare_periods,
)

scores = st.lists(st.integers(0, 120).map(float), min_size=1, max_size=12)
pairs = st.lists(st.tuples(st.integers(0, 120), st.integers(0, 120)), min_size=1, max_size=12)

BEFORE = (62, 58, 71, 66, 60, 69, 64, 57)
AFTER = (44, 51, 39, 47, 42, 49, 50)


def test_it_finds_the_fall_between_two_periods() -> None:
    found = compare_periods(BEFORE, AFTER)
    assert found.difference == median(late - early for early, late in product(BEFORE, AFTER))
    assert (found.direction, found.is_clear) == ("lower", True)
    assert (found.first, found.second) == (8, 7)
    assert found.confidence is not None
    assert found.confidence >= 0.95


def test_it_finds_the_rise_the_other_way_round() -> None:
    fall, rise = compare_periods(BEFORE, AFTER), compare_periods(AFTER, BEFORE)
    assert rise.direction == "higher"
    assert (rise.difference, rise.low, rise.high) == (-fall.difference, -(fall.high or 0), -(fall.low or 0))


def test_it_shows_no_difference_where_there_is_none() -> None:
    found = compare_periods(BEFORE, BEFORE)
    assert (found.difference, found.direction, found.is_clear) == (0, "none shown", False)


@pytest.mark.parametrize(
    ("low", "high", "clear"), [(0, 2, False), (-2, 0, False), (0.1, 2, True), (-2, -0.1, True)]
)
def test_a_difference_is_clear_when_its_limits_leave_none_out(low: float, high: float, clear: bool) -> None:
    assert Comparison(9, 9, 1.0, low, high, 0.95).is_clear is clear


def test_it_finds_what_all_pairs_share() -> None:
    found = compare_pairs([(above, above - 12) for above in BEFORE])
    assert (found.difference, found.low, found.high) == (-12, -12, -12)
    assert found.direction == "lower"


def test_it_sees_in_pairs_what_the_season_hides_between_periods() -> None:
    upstream = [20, 40, 60, 80, 100, 30, 50, 70]
    downstream = [score - 5 for score in upstream]
    assert compare_pairs(list(zip(upstream, downstream, strict=True))).is_clear
    assert not compare_periods(upstream, downstream).is_clear


@pytest.mark.parametrize("n", range(1, 6))
def test_it_gives_no_limits_for_fewer_than_six_pairs(n: int) -> None:
    # Five differences are all of one sign by chance in two of thirty-two cases: over 5 %.
    found = compare_pairs([(50, 40)] * n)
    assert (found.low, found.high, found.confidence, found.is_clear) == (None, None, None, False)
    assert found.difference == -10
    assert found.why_none == "Too few visits for limits of the wanted confidence."
    assert compare_pairs([(50, 40)] * 6).confidence == pytest.approx(1 - 2 / 64)


def test_it_gives_no_limits_for_three_visits_on_either_side() -> None:
    assert compare_periods(BEFORE[:3], AFTER[:3]).low is None
    assert compare_periods(BEFORE[:4], AFTER[:4]).confidence == pytest.approx(1 - 2 / 70)


@given(pairs)
def test_it_holds_the_difference_within_its_limits(both: list[tuple[int, int]]) -> None:
    found = compare_pairs(both)
    if found.low is not None and found.high is not None:
        assert found.low <= found.difference <= found.high
        assert (found.confidence or 0) >= 0.95


@given(scores, scores, st.integers(-50, 50))
def test_it_follows_a_shift_of_one_period(before: list[float], after: list[float], shift: int) -> None:
    found, moved = compare_periods(before, after), compare_periods(before, [score + shift for score in after])
    assert moved.difference == pytest.approx(found.difference + shift)


@given(scores, scores)
def test_it_cares_not_for_the_order_of_visits(before: list[float], after: list[float]) -> None:
    assert compare_periods(before, after) == compare_periods(sorted(before), sorted(after, reverse=True))


def chance_outside_signed(n: int, rank: int) -> float:
    """Chance that the signed rank stays below, by going through all signs."""
    sums = [sum(place for place, sign in enumerate(signs, 1) if sign) for signs in product((0, 1), repeat=n)]
    return sum(total < rank for total in sums) / len(sums)


def chance_outside_sum(m: int, n: int, rank: int) -> float:
    """Chance that the Mann-Whitney count stays below, by going through all orders."""
    counts = [sum(chosen) - m * (m + 1) // 2 for chosen in combinations(range(1, m + n + 1), m)]
    return sum(count < rank for count in counts) / len(counts)


@pytest.mark.parametrize("n", [6, 7, 9, 12])
def test_it_reaches_the_confidence_that_all_signs_give(n: int) -> None:
    # Pairs whose means are all different, so that the limit tells its rank.
    gaps = [float(3**place) for place in range(n)]
    found = compare_pairs([(0.0, gap) for gap in gaps])
    means = sorted((gaps[a] + gaps[b]) / 2 for a in range(n) for b in range(a + 1))
    rank = means.index(found.low or 0) + 1
    assert found.confidence == pytest.approx(1 - 2 * chance_outside_signed(n, rank))
    assert 1 - 2 * chance_outside_signed(n, rank + 1) < 0.95


@pytest.mark.parametrize(("m", "n"), [(4, 4), (5, 7), (8, 3), (6, 6)])
def test_it_reaches_the_confidence_that_all_orders_give(m: int, n: int) -> None:
    before, after = [float(3**place) for place in range(m)], [3.0 ** (place + 0.3) for place in range(n)]
    found = compare_periods(before, after)
    differences = sorted(late - early for early in before for late in after)
    rank = differences.index(found.low or 0) + 1
    assert found.confidence == pytest.approx(1 - 2 * chance_outside_sum(m, n, rank))
    assert 1 - 2 * chance_outside_sum(m, n, rank + 1) < 0.95


def wave(n: int, shift: float) -> list[float]:
    return [shift + 10 * math.sin(place * 1.7) + 0.01 * place for place in range(n)]


@pytest.mark.parametrize("shift", [-3.0, 0.0, 3.0])
def test_it_passes_smoothly_from_the_exact_law_to_the_normal_one(shift: float) -> None:
    def width(values: Sequence[float]) -> float:
        found = compare_pairs([(0.0, value) for value in values])
        return (found.high or 0) - (found.low or 0)

    exact, normal = wave(MOST_EXACT_PAIRS, shift), wave(MOST_EXACT_PAIRS + 1, shift)
    assert width(normal) == pytest.approx(width(exact), rel=0.05)


def test_it_passes_smoothly_between_the_laws_of_two_periods() -> None:
    exact = compare_periods(wave(MOST_EXACT_VALUES, 0), wave(MOST_EXACT_VALUES, 5))
    normal = compare_periods(wave(MOST_EXACT_VALUES + 1, 0), wave(MOST_EXACT_VALUES + 1, 5))
    assert (normal.low, normal.high) == pytest.approx((exact.low, exact.high), abs=0.5)
    assert normal.confidence == 0.95


def test_it_drops_what_hits_both_sites_alike() -> None:
    # A dry year lowers both sites by 20; only downstream a discharge takes 15 more.
    upstream = [60.0, 64, 58, 66, 61, 63]
    before = [(score, score - 3 + at % 2) for at, score in enumerate(upstream)]
    after = [(score - 20, score - 38 + at % 2) for at, score in enumerate(upstream)]
    found = compare_impact(before, after)
    assert found.difference == -15
    assert found.direction == "lower"


@pytest.mark.parametrize(("before", "after"), [([], [1.0]), ([1.0], []), ([], [])])
def test_it_refuses_an_empty_side(before: list[float], after: list[float]) -> None:
    with pytest.raises(ValueError, match="at least one visit"):
        compare_periods(before, after)


def test_it_refuses_no_pairs() -> None:
    with pytest.raises(ValueError, match="at least one visit"):
        compare_pairs([])


@pytest.mark.parametrize("score", [math.nan, math.inf])
def test_it_refuses_a_score_that_is_no_number(score: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        compare_periods([1.0, score], [2.0])
    with pytest.raises(ValueError, match="finite"):
        compare_pairs([(1.0, score)])


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_it_refuses_a_confidence_that_is_none(confidence: float) -> None:
    with pytest.raises(ValueError, match="confidence"):
        compare_periods(BEFORE, AFTER, confidence=confidence)
