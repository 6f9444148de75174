"""Chances and limits of triggers against figures computed once by other means from the laws named.

Tails of the normal law, the geometric law, and one-sided normal prediction limits t sqrt(1 + 1/n). That a
trigger should fire by chance at one visit in twenty (5 %) is common practice, no source.
"""

import pytest

from scoring.baseline import (
    chance_below_normal,
    chance_next_lowest,
    chance_of_false_alarm,
    is_below,
    mean_visits_to_signal,
    prediction_factor,
    student_quantile,
)


@pytest.mark.parametrize(("n", "percent"), [(12, 7.69), (19, 5.00), (39, 2.50)])
def test_it_gives_the_chance_that_the_next_visit_is_lowest(n: int, percent: float) -> None:
    assert 100 * chance_next_lowest(n) == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(
    ("chance", "visits", "percent"), [(0.05, 4, 18.5), (0.05, 6, 26.5), (0.05, 12, 46.0), (0.01, 12, 11.4)]
)
def test_it_gives_the_chance_of_a_false_alarm_in_a_year(chance: float, visits: int, percent: float) -> None:
    assert 100 * chance_of_false_alarm(chance, visits) == pytest.approx(percent, abs=0.05)


@pytest.mark.parametrize(("sds", "percent", "one_in"), [(2, 2.275, 43.96), (3, 0.135, 740.8)])
def test_it_gives_the_tail_below_a_limit(sds: float, percent: float, one_in: float) -> None:
    assert 100 * chance_below_normal(sds) == pytest.approx(percent, abs=0.0005)
    assert 1 / chance_below_normal(sds) == pytest.approx(one_in, abs=0.05)


@pytest.mark.parametrize(("limit", "visits"), [(2, 2.0), (3, 6.30)])
def test_it_gives_the_visits_until_a_fall_of_two_sds_is_seen(limit: float, visits: float) -> None:
    assert mean_visits_to_signal(2, limit) == pytest.approx(visits, abs=0.005)


@pytest.mark.parametrize(
    ("n", "at_95", "at_99"),
    [(5, 2.335, 4.105), (8, 2.010, 3.180), (10, 1.923, 2.959), (12, 1.869, 2.829), (20, 1.772, 2.602)],
)
def test_it_gives_the_factor_of_a_one_sided_prediction_limit(n: int, at_95: float, at_99: float) -> None:
    assert prediction_factor(n) == pytest.approx(at_95, abs=0.0005)
    assert prediction_factor(n, 0.99) == pytest.approx(at_99, abs=0.0005)


@pytest.mark.parametrize(
    ("freedom", "at_95", "at_99"),
    [(1, 6.314, 31.821), (2, 2.920, 6.965), (5, 2.015, 3.365), (10, 1.812, 2.764), (30, 1.697, 2.457)],
)
def test_it_gives_the_quantiles_of_students_table(freedom: int, at_95: float, at_99: float) -> None:
    # Student's t, one-sided; NIST/SEMATECH e-Handbook, table of critical values, from memory.
    assert student_quantile(0.95, freedom) == pytest.approx(at_95, abs=0.0005)
    assert student_quantile(0.99, freedom) == pytest.approx(at_99, abs=0.0005)


def test_it_keeps_silent_at_the_level_and_fires_just_below() -> None:
    # Common practice, no source: below means strictly below.
    assert not is_below(8, 8)
    assert is_below(7.99, 8)
