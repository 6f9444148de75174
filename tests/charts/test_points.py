"""Visits and triggers as a chart sees them."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.charts import Point, TriggerLine
from portal.charts.points import in_order, level_on, unbroken_runs, usual_interval
from tests.charts.making import START, monthly

DAY = date(2025, 5, 4)


@pytest.mark.parametrize("figure", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("place", ["value", "low", "high"])
def test_it_refuses_a_figure_that_is_not_finite(figure: float, place: str) -> None:
    figures: dict[str, Any] = {"value": None, "low": None, "high": None, place: figure}
    with pytest.raises(ValueError, match="2025-05-04 has a figure that is not finite"):
        Point(DAY, **figures)


@pytest.mark.parametrize(("low", "value", "high"), [(5, 4, 6), (3, 7, 6), (6, None, 5)])
def test_it_refuses_a_score_outside_its_own_range(low: float, value: float | None, high: float) -> None:
    with pytest.raises(ValueError, match="outside its own range"):
        Point(DAY, value, low=low, high=high)


def test_it_takes_a_range_that_is_a_single_figure() -> None:
    assert Point(DAY, 4, low=4, high=4).value == 4


@pytest.mark.parametrize(
    ("point", "state"),
    [
        (Point(DAY, 60), "normal"),
        (Point(DAY, 0), "normal"),
        (Point(DAY, 40, below=True), "below"),
        (Point(DAY, 40, tested=False), "untested"),
        (Point(DAY, 40, tested=False, below=True), "untested"),
        (Point(DAY, None), "unscored"),
        (Point(DAY, None, below=True), "unscored"),
    ],
)
def test_it_has_one_state(point: Point, state: str) -> None:
    assert point.state == state


def test_it_refuses_a_trigger_that_ends_before_it_starts() -> None:
    with pytest.raises(ValueError, match="before it starts"):
        TriggerLine(5, DAY, DAY - timedelta(days=1))


def test_it_refuses_a_trigger_level_that_is_no_number() -> None:
    with pytest.raises(ValueError, match="finite number"):
        TriggerLine(math.nan, DAY)


def test_it_holds_a_trigger_in_force_on_its_first_and_last_day() -> None:
    line = TriggerLine(5, DAY, DAY + timedelta(days=2))
    days = [DAY + timedelta(days=n) for n in range(-1, 4)]
    assert [line.in_force(d) for d in days] == [False, True, True, True, False]


def test_it_lets_the_later_of_two_triggers_rule() -> None:
    lines = [TriggerLine(60, DAY, None), TriggerLine(50, DAY - timedelta(days=90), DAY)]
    assert level_on(lines, DAY) == 60
    assert level_on(lines, DAY - timedelta(days=1)) == 50


def test_it_knows_no_level_before_the_first_trigger() -> None:
    assert level_on([TriggerLine(60, DAY)], DAY - timedelta(days=1)) is None
    assert level_on([], DAY) is None


def test_it_orders_visits_by_date_and_keeps_those_of_one_day() -> None:
    late, first, second = Point(DAY + timedelta(days=1), 1), Point(DAY, 2), Point(DAY, 3)
    assert in_order([late, first, second]) == [first, second, late]


def test_it_takes_the_median_interval() -> None:
    days = [0, 28, 56, 200]
    assert usual_interval([Point(START + timedelta(days=d), 1) for d in days]) == 28


@pytest.mark.parametrize("count", [0, 1])
def test_it_has_no_usual_interval_for_fewer_than_two_visits(count: int) -> None:
    assert usual_interval(monthly(*[5.0] * count)) == math.inf


def test_it_breaks_the_line_at_a_visit_without_a_score() -> None:
    runs = unbroken_runs(monthly(5, 6, None, 7))
    assert [[p.value for p in run] for run in runs] == [[5, 6], [7]]


@pytest.mark.parametrize(("gap", "runs"), [(48, 1), (49, 2)])
def test_it_breaks_the_line_where_the_gap_is_wider_than_1_6_usual_intervals(gap: int, runs: int) -> None:
    visits = monthly(5, 6, 7)
    late = Point(visits[-1].when + timedelta(days=gap), 8)
    assert len(unbroken_runs([*visits, late])) == runs


def test_it_draws_no_run_without_scores() -> None:
    assert unbroken_runs(monthly(None, None)) == []


@given(st.lists(st.tuples(st.integers(0, 4000), st.one_of(st.none(), st.floats(-10, 300)))))
def test_it_keeps_every_score_in_exactly_one_run(visits: list[tuple[int, float | None]]) -> None:
    points = in_order(Point(START + timedelta(days=d), v) for d, v in visits)
    joined = [p for run in unbroken_runs(points) for p in run]
    assert joined == [p for p in points if p.value is not None]
