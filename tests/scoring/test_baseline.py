"""Baselines and the arithmetic of false alarms; figures held against the outside are in tests/published."""

import math
from statistics import NormalDist, mean, median, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.baseline import (
    PROVISIONAL_BELOW,
    Baseline,
    chance_below_normal,
    chance_next_lowest,
    chance_of_false_alarm,
    describe,
    false_alarms_per_year,
    is_below,
    mean_visits_to_signal,
    prediction_factor,
    student_chance,
    student_quantile,
)

scores = st.lists(st.floats(-100, 200), min_size=2, max_size=40)


@given(scores)
def test_it_describes_as_the_standard_library_does(values: list[float]) -> None:
    found = describe(values)
    assert found is not None
    assert (found.n, found.lowest, found.highest) == (len(values), min(values), max(values))
    assert found.mean == pytest.approx(mean(values), abs=1e-9)
    assert found.median == pytest.approx(median(values), abs=1e-9)
    assert found.sd == pytest.approx(stdev(values), abs=1e-9)


def test_it_has_no_baseline_without_visits_and_no_spread_of_one() -> None:
    assert describe([]) is None
    assert describe([44]) == Baseline(1, 44, None, 44, 44, 44)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_it_refuses_a_score_that_is_no_number(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        describe([44, value])


def test_it_is_provisional_below_eight_visits() -> None:
    seven, eight = describe([44.0] * (PROVISIONAL_BELOW - 1)), describe([44.0] * PROVISIONAL_BELOW)
    assert seven is not None
    assert eight is not None
    assert PROVISIONAL_BELOW == 8
    assert (seven.is_provisional, eight.is_provisional) == (True, False)


def test_it_expects_false_alarms_in_proportion_to_visits() -> None:
    assert false_alarms_per_year(0.05, 12) == pytest.approx(0.6)
    assert false_alarms_per_year(0, 12) == 0


@pytest.mark.parametrize("chance", [-0.1, 1.1])
def test_it_refuses_a_chance_that_is_none(chance: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        false_alarms_per_year(chance, 12)
    with pytest.raises(ValueError, match="between 0 and 1"):
        chance_of_false_alarm(chance, 12)


def test_it_fires_strictly_below_the_level() -> None:
    assert not is_below(8, 8)
    assert is_below(7.99, 8)


def test_it_knows_no_chance_for_fewer_than_no_visits() -> None:
    assert chance_next_lowest(0) == 1
    with pytest.raises(ValueError, match="0 or more"):
        chance_next_lowest(-1)


@given(st.floats(-6, 6))
def test_it_takes_normal_chances_as_the_standard_library_does(sds: float) -> None:
    assert chance_below_normal(sds) == pytest.approx(NormalDist().cdf(-sds), abs=1e-12)


def test_it_signals_sooner_after_a_larger_fall() -> None:
    visits = [mean_visits_to_signal(fall, 2) for fall in (0, 1, 2, 3)]
    assert visits == sorted(visits, reverse=True)
    assert visits[-1] > 1


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 7, 30])
def test_it_finds_the_quantile_that_has_the_chance(freedom: int) -> None:
    for chance in (0.5, 0.75, 0.95, 0.999):
        assert student_chance(student_quantile(chance, freedom), freedom) == pytest.approx(chance, abs=1e-9)


def test_it_knows_the_closed_forms_of_student() -> None:
    # One degree of freedom is the Cauchy law, two have a square root, many come near the normal law.
    assert student_chance(2.5, 1) == pytest.approx(0.5 + math.atan(2.5) / math.pi)
    assert student_chance(2.5, 2) == pytest.approx(0.5 + 2.5 / (2 * math.sqrt(2 + 2.5**2)))
    assert student_chance(2.5, 2000) == pytest.approx(NormalDist().cdf(2.5), abs=1e-4)


@pytest.mark.parametrize(("n", "confidence"), [(1, 0.95), (12, 1.0), (12, 0.4)])
def test_it_refuses_a_prediction_limit_without_ground(n: int, confidence: float) -> None:
    with pytest.raises(ValueError, match="prediction limit"):
        prediction_factor(n, confidence)


def test_it_needs_a_wider_limit_for_fewer_visits() -> None:
    factors = [prediction_factor(n) for n in range(2, 40)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] > NormalDist().inv_cdf(0.95)
