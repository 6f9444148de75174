"""The seasonal trend test on series whose trend is known; independent libraries are in tests/published."""

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.trend import by_month, by_quarter, by_year, seasonal_kendall

Scores = list[tuple[date, float]]
series = st.lists(
    st.tuples(st.dates(date(2015, 1, 1), date(2025, 12, 31)), st.integers(0, 100).map(float)), max_size=60
)


def monthly(years: int, *, per_year: float = 0.0, swing: float = 20.0) -> Scores:
    """Scores with a yearly rise and fall, and so much change a year."""
    return [
        (date(2015 + year, month, 5), 60 + swing * math.sin(month) + per_year * year)
        for year in range(years)
        for month in range(1, 13)
    ]


def test_it_finds_the_slope_through_the_seasons() -> None:
    found = seasonal_kendall(monthly(6, per_year=-1.5))
    assert found.slope == pytest.approx(-1.5)
    assert (found.direction, found.is_clear) == ("falling", True)
    assert found.tau == pytest.approx(-1)
    assert found.p is not None
    assert found.p < 1e-10


def test_it_counts_values_seasons_and_pairs() -> None:
    found = seasonal_kendall(monthly(6, per_year=1))
    assert (found.values, found.seasons) == (72, 12)
    assert found.pairs == found.s == 12 * 15
    assert found.direction == "rising"


def test_it_takes_the_years_own_rise_and_fall_for_no_trend() -> None:
    # Spring and autumn of each year lie far apart; read in one row they would seem to rise.
    spring = [(date(2015 + year, 4, 5), 40.0 + year % 2) for year in range(8)]
    autumn = [(date(2015 + year, 10, 5), 80.0 - year % 2) for year in range(8)]
    found = seasonal_kendall(spring + autumn)
    assert found.pairs == 2 * 28
    assert not found.is_clear
    assert found.slope == 0


def test_it_says_that_one_year_cannot_be_compared() -> None:
    found = seasonal_kendall(monthly(1))
    assert (found.tau, found.z, found.p, found.slope) == (None, None, None, None)
    assert found.why_none == "No season was visited in two years, so nothing can be compared."
    assert found.direction == "none shown"


def test_it_says_that_nothing_is_known_of_no_visits() -> None:
    assert seasonal_kendall([]).why_none
    assert seasonal_kendall([]).values == 0


def test_it_says_that_scores_never_differed() -> None:
    found = seasonal_kendall([(date(year, 5, 3), 44.0) for year in range(2015, 2025)])
    assert (found.slope, found.tau, found.p) == (0, 0, None)
    assert "never differed" in found.why_none
    assert not found.is_clear


def test_it_takes_the_median_of_one_month() -> None:
    outlier = [(date(2015, 5, day), score) for day, score in ((1, 50.0), (9, 52.0), (20, 400.0))]
    found = seasonal_kendall([*outlier, (date(2016, 5, 4), 51.0)])
    assert found.values == 2
    assert found.slope == -1


def test_it_divides_by_the_years_between() -> None:
    found = seasonal_kendall([(date(2015, 5, 1), 40.0), (date(2019, 5, 1), 48.0)])
    assert found.slope == 2


def test_it_is_uncertain_below_ten_values() -> None:
    assert seasonal_kendall([(date(year, 5, 3), year) for year in range(2015, 2024)]).is_uncertain
    assert not seasonal_kendall([(date(year, 5, 3), year) for year in range(2015, 2025)]).is_uncertain


def test_it_holds_the_slope_within_its_limits() -> None:
    wavy = [(day, score + 3 * math.cos(7 * day.toordinal())) for day, score in monthly(8, per_year=-0.4)]
    found, surer = seasonal_kendall(wavy), seasonal_kendall(wavy, confidence=0.99)
    assert None not in (found.low, found.slope, found.high, surer.low, surer.high)
    assert (surer.low or 0) <= (found.low or 0) < (found.slope or 0) < (found.high or 0) <= (surer.high or 0)


@given(series)
def test_it_cares_not_for_the_order_of_visits(scores: Scores) -> None:
    assert seasonal_kendall(scores) == seasonal_kendall(sorted(scores, reverse=True))


@given(series)
def test_it_mirrors_a_mirrored_series(scores: Scores) -> None:
    found, mirrored = seasonal_kendall(scores), seasonal_kendall([(day, -score) for day, score in scores])
    assert mirrored.s == -found.s
    assert mirrored.p == found.p
    if found.slope is not None:
        assert mirrored.slope == pytest.approx(-found.slope)


@given(series, st.floats(-100, 100))
def test_it_cares_not_where_the_scale_starts(scores: Scores, shift: float) -> None:
    shifted = seasonal_kendall([(day, score + round(shift)) for day, score in scores])
    assert shifted.s == seasonal_kendall(scores).s


def test_it_parts_the_year_as_told() -> None:
    assert by_month(date(2024, 12, 1)) == (2024, 12)
    assert by_year(date(2024, 12, 1)) == (2024, 1)


@pytest.mark.parametrize(
    ("day", "cell"),
    [
        (date(2024, 1, 31), (2024, 1)),
        (date(2024, 3, 1), (2024, 2)),
        (date(2024, 8, 31), (2024, 3)),
        (date(2024, 9, 1), (2024, 4)),
        (date(2024, 11, 30), (2024, 4)),
        (date(2024, 12, 1), (2025, 1)),
    ],
)
def test_it_puts_december_into_the_winter_that_follows(day: date, cell: tuple[int, int]) -> None:
    assert by_quarter(day) == cell


def test_it_compares_by_quarter_what_was_visited_in_different_months() -> None:
    scores = [(date(2015, 6, 1), 50.0), (date(2016, 7, 1), 48.0), (date(2017, 8, 1), 46.0)]
    assert seasonal_kendall(scores).pairs == 0
    assert seasonal_kendall(scores, season=by_quarter).slope == -2


@pytest.mark.parametrize("score", [math.nan, math.inf])
def test_it_refuses_a_score_that_is_no_number(score: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        seasonal_kendall([(date(2015, 5, 1), score)])


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_it_refuses_a_confidence_that_is_none(confidence: float) -> None:
    with pytest.raises(ValueError, match="confidence"):
        seasonal_kendall([], confidence=confidence)
