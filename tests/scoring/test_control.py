"""Control charts on numbers that can be followed by hand; published values are in tests/published."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.control import (
    cusum,
    cusum_run_length,
    ewma,
    ewma_run_length,
    ewma_sd,
    sd_from_ranges,
    shewhart,
)

values = st.lists(st.floats(-50, 150), min_size=1, max_size=30)


def test_it_sets_the_limits_of_single_visits_three_sds_off() -> None:
    chart = shewhart([50, 43.9, 44, 56, 56.1], target=50, sd=2)
    assert set(chart.lower) == {44}
    assert set(chart.upper) == {56}
    assert (chart.signals_below, chart.signals_above) == ((1,), (4,))


def test_it_keeps_silent_at_a_limit() -> None:
    chart = shewhart([44, 56], target=50, sd=2)
    assert chart.signals_below == chart.signals_above == ()


def test_it_takes_another_width() -> None:
    assert shewhart([50], target=50, sd=2, width=2).lower == (46,)


def test_it_weighs_the_latest_visit_and_all_before() -> None:
    chart = ewma([60, 50], target=50, sd=2, weight=0.2, width=3)
    assert chart.values == pytest.approx((52, 51.6))
    # First visit: the mean has the sd weight x sd.
    assert chart.upper[0] == pytest.approx(50 + 3 * 0.2 * 2)


def test_it_opens_the_limits_of_the_weighted_mean_until_they_settle() -> None:
    chart = ewma([50] * 60, target=50, sd=2, weight=0.2, width=3)
    assert list(chart.upper) == sorted(chart.upper)
    assert chart.upper[-1] == pytest.approx(50 + 3 * ewma_sd(2, 0.2))
    assert chart.lower[-1] == pytest.approx(50 - 3 * ewma_sd(2, 0.2))


@given(values)
def test_it_is_a_chart_of_single_visits_when_the_past_weighs_nothing(scores: list[float]) -> None:
    with_past, without = ewma(scores, target=50, sd=2, weight=1, width=3), shewhart(scores, target=50, sd=2)
    assert with_past.values == pytest.approx(without.values)
    assert with_past.lower == pytest.approx(without.lower)


def test_it_shows_a_slow_decline_that_no_single_visit_shows() -> None:
    slow = [50 - 0.3 * visit for visit in range(12)]
    assert shewhart(slow, target=50, sd=2).signals_below == ()
    assert ewma(slow, target=50, sd=2).signals_below
    assert cusum(slow, target=50, sd=2).signals_below


def test_it_sums_what_goes_beyond_the_slack() -> None:
    found = cusum([48, 46, 51, 45], target=50, sd=2, slack=0.5, limit=4)
    # Falls: 2 - 1 = 1; 1 + 4 - 1 = 4; 4 - 1 - 1 = 2; 2 + 5 - 1 = 6.
    assert found.falls == pytest.approx((1, 4, 2, 6))
    assert found.rises == pytest.approx((0, 0, 0, 0))
    assert found.limit == 8


def test_it_signals_above_the_limit_only() -> None:
    found = cusum([40, 41, 50], target=50, sd=2, slack=0.5, limit=4.5)
    assert found.falls == pytest.approx((9, 17, 16))
    assert found.signals_below == (1, 2)


@given(values)
def test_it_mirrors_falls_and_rises(scores: list[float]) -> None:
    found = cusum(scores, target=50, sd=3)
    mirrored = cusum([100 - score for score in scores], target=50, sd=3)
    assert found.falls == pytest.approx(mirrored.rises)
    assert all(value >= 0 for value in (*found.falls, *found.rises))


def test_it_signals_a_rise_too() -> None:
    assert cusum([60, 60], target=50, sd=2).signals_above == (0, 1)
    assert ewma([60, 60], target=50, sd=2).signals_above == (0, 1)


def test_it_estimates_the_sd_from_successive_visits() -> None:
    assert sd_from_ranges([50, 52, 49]) == pytest.approx((2 + 3) / 2 / 1.128379, rel=1e-6)
    # One step at half time inflates the usual sd, not this one.
    assert sd_from_ranges([50, 51] * 5 + [80, 81] * 5) < 3


def test_it_estimates_no_sd_from_one_visit() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        sd_from_ranges([50])


@pytest.mark.parametrize("sd", [0, -1, math.nan, math.inf])
def test_it_refuses_a_spread_that_is_none(sd: float) -> None:
    for chart in (shewhart, ewma, cusum):
        with pytest.raises(ValueError, match="above 0"):
            chart([50, 51], target=50, sd=sd)


@pytest.mark.parametrize("score", [math.nan, math.inf])
def test_it_refuses_a_score_that_is_no_number(score: float) -> None:
    for chart in (shewhart, ewma, cusum):
        with pytest.raises(ValueError, match="finite"):
            chart([50, score], target=50, sd=2)


@pytest.mark.parametrize("weight", [0, 1.2, -0.1])
def test_it_refuses_a_weight_that_is_none(weight: float) -> None:
    with pytest.raises(ValueError, match="weight"):
        ewma([50], target=50, sd=2, weight=weight)
    with pytest.raises(ValueError, match="weight"):
        ewma_run_length(weight=weight, width=3)


def test_it_charts_no_visits_as_nothing() -> None:
    assert shewhart([], target=50, sd=2).values == ()
    assert ewma([], target=50, sd=2).signals_below == ()
    assert cusum([], target=50, sd=2).falls == ()


@pytest.mark.parametrize("shift", [0.0, 0.5, 1.0, 2.0])
def test_it_runs_as_long_as_drawn_visits_do(shift: float) -> None:
    """A weighted mean of weight 1 is a chart of single visits, whose run length is known in closed form."""
    beyond = (math.erfc((3 - shift) / math.sqrt(2)) + math.erfc((3 + shift) / math.sqrt(2))) / 2
    assert ewma_run_length(weight=1, width=3, shift=shift) == pytest.approx(1 / beyond, rel=0.002)


def test_it_signals_sooner_the_larger_the_fall() -> None:
    sums = [cusum_run_length(slack=0.5, limit=4, shift=shift) for shift in (0, 0.5, 1, 2, 3)]
    means = [ewma_run_length(weight=0.2, width=2.86, shift=shift) for shift in (0, 0.5, 1, 2, 3)]
    assert sums == sorted(sums, reverse=True)
    assert means == sorted(means, reverse=True)
    assert sums[-1] > 1
    assert means[-1] > 1


def test_it_runs_half_as_long_with_two_sides() -> None:
    one = cusum_run_length(slack=0.5, limit=5)
    assert cusum_run_length(slack=0.5, limit=5, two_sided=True) == pytest.approx(one / 2)
