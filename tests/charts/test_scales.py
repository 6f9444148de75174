"""Ticks a reader can count by, and pixels where they belong."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.charts.scales import Frame, date_ticks, decimals, nice_step, span_of, value_ticks
from portal.charts.words import ENGLISH

FRAME = Frame(50, 10, 250, 110, date(2024, 1, 1), date(2024, 12, 31), 0, 100)


@pytest.mark.parametrize(
    ("span", "count", "step"),
    [
        (100, 4, 25),
        (100, 5, 20),
        (92, 4, 25),
        (8, 4, 2),
        (7, 4, 2),
        (0.9, 4, 0.25),
        (10, 1, 10),
        (1000, 6, 200),
    ],
)
def test_it_steps_by_a_round_figure(span: float, count: int, step: float) -> None:
    assert nice_step(span, count) == pytest.approx(step)


@pytest.mark.parametrize(
    ("figures", "ticks"),
    [
        ([30, 92, 50], [0, 25, 50, 75, 100]),
        ([4.2, 6.6], [0, 2, 4, 6, 8]),
        ([-3, 5], [-4, -2, 0, 2, 4, 6]),
        ([-80, -20], [-100, -80, -60, -40, -20]),
        ([90, 98], [88, 90, 92, 94, 96, 98]),
        ([], [0, 0.25, 0.5, 0.75, 1]),
    ],
)
def test_it_spans_the_figures(figures: list[float], ticks: list[float]) -> None:
    assert value_ticks(figures, 4) == pytest.approx(ticks)


@pytest.mark.parametrize("value", [0.0, 5.0, -5.0, 1e-6, 3e5])
def test_it_spans_something_when_all_values_are_equal(value: float) -> None:
    ticks = value_ticks([value, value], 4)
    assert ticks[0] <= value < ticks[-1]
    assert len(ticks) >= 2


def test_it_never_lays_the_lowest_figure_on_a_base_line_other_than_zero() -> None:
    assert value_ticks([90, 98], 4)[0] < 90
    assert value_ticks([0, 98], 4)[0] == 0


@given(st.lists(st.floats(-1e6, 1e6), min_size=1), st.integers(2, 12))
def test_it_always_encloses_the_figures_with_few_ticks(figures: list[float], count: int) -> None:
    ticks = value_ticks(figures, count)
    slack = 1e-6 * max(1.0, *(abs(f) for f in figures))
    assert ticks[0] <= min(figures) + slack
    assert ticks[-1] >= max(figures) - slack
    assert 2 <= len(ticks) <= count + 4
    assert ticks == sorted(set(ticks))


@pytest.mark.parametrize(
    ("ticks", "places"), [([0, 25, 50], 0), ([0, 2.5, 5], 1), ([0, 0.25, 0.5], 2), ([-1, 0, 1], 0)]
)
def test_it_writes_ticks_with_as_many_decimals_as_tell_them_apart(ticks: list[float], places: int) -> None:
    assert decimals(ticks) == places


def test_it_places_the_edges_of_the_frame() -> None:
    assert (FRAME.x(FRAME.first), FRAME.x(FRAME.last)) == (50, 250)
    assert (FRAME.y(0), FRAME.y(100), FRAME.y(50)) == (110, 10, 60)


def test_it_holds_days_outside_at_the_edge() -> None:
    assert FRAME.x(date(1999, 1, 1)) == 50
    assert FRAME.x(date(2050, 1, 1)) == 250
    assert not FRAME.holds(date(2050, 1, 1))
    assert FRAME.holds(date(2024, 6, 1))


def test_it_leaves_room_around_the_days() -> None:
    assert span_of([date(2024, 5, 4)]) == (date(2024, 4, 24), date(2024, 5, 14))
    first, last = span_of([date(2024, 1, 1), date(2020, 1, 1)])
    assert first < date(2020, 1, 1)
    assert last > date(2024, 1, 1)


def test_it_stays_inside_what_a_date_can_say() -> None:
    assert span_of([date.min, date.max]) == (date.min, date.max)


def test_it_counts_a_short_span_in_days() -> None:
    labels = [label for _, label in date_ticks(date(2024, 5, 1), date(2024, 5, 29), 6, ENGLISH)]
    assert labels == ["4 May", "11 May", "18 May", "25 May"]


@pytest.mark.parametrize(
    ("last", "labels"),
    [
        (date(2024, 6, 15), ["Jan 2024", "Feb 2024", "Mar 2024", "Apr 2024", "May 2024", "Jun 2024"]),
        (date(2025, 12, 1), ["Jan 2024", "Jul 2024", "Jan 2025", "Jul 2025"]),
        (date(2029, 1, 1), ["2024", "2025", "2026", "2027", "2028", "2029"]),
        (date(2064, 1, 1), ["2025", "2030", "2035", "2040", "2045", "2050", "2055", "2060"]),
    ],
)
def test_it_counts_a_long_span_in_months_or_years(last: date, labels: list[str]) -> None:
    found = [label for _, label in date_ticks(date(2024, 1, 1), last, 6, ENGLISH)]
    assert found == labels


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.integers(1, 40_000), st.integers(1, 12))
def test_it_never_ticks_outside_the_span_nor_too_often(first: date, days: int, count: int) -> None:
    last = date.fromordinal(first.toordinal() + days)
    ticks = date_ticks(first, last, count, ENGLISH)
    assert all(first <= day <= last for day, _ in ticks)
    assert len(ticks) <= math.ceil(count * 1.8) + 2
