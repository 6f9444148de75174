"""Control charts against published worked examples and run lengths."""

import pytest

from scoring.control import (
    cusum,
    cusum_run_length,
    ewma,
    ewma_run_length,
    ewma_sd,
    sd_from_ranges,
    shewhart,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4, EWMA control charts, worked example:
# data and series from memory, recomputed and consistent with each other; limits and their formula seen there.
NIST_DATA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)
NIST_EWMA = (
    *(50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
)

# Montgomery and Runger, Applied Statistics and Probability for Engineers, 3rd edition, Table 16-7 (seen).
CONCENTRATIONS = (
    *(102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1),
    *(101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0),
)


def test_it_gives_the_weighted_means_of_the_handbook() -> None:
    chart = ewma(NIST_DATA, target=50, sd=2.0539, weight=0.3, width=3)
    assert chart.values == pytest.approx(NIST_EWMA, abs=0.01)


def test_it_settles_at_the_limits_of_the_handbook() -> None:
    chart = ewma(NIST_DATA, target=50, sd=2.0539, weight=0.3, width=3)
    assert 50 + 3 * ewma_sd(2.0539, 0.3) == pytest.approx(52.5884, abs=0.0001)
    assert chart.upper[-1] == pytest.approx(52.5884, abs=0.001)
    assert chart.lower[-1] == pytest.approx(47.4115, abs=0.001)


def test_it_finds_the_process_of_the_handbook_in_control() -> None:
    chart = ewma(NIST_DATA, target=50, sd=2.0539, weight=0.3, width=3)
    assert chart.signals_below == chart.signals_above == ()


def test_it_gives_the_limits_of_single_values_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook, section 6.3.2.2, chart of ten single flow rates, from memory and recomputed:
    # mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159.
    rates = NIST_DATA[10:]
    sd, mean = sd_from_ranges(rates), sum(rates) / len(rates)
    chart = shewhart(rates, target=mean, sd=sd)
    assert mean == pytest.approx(50.81)
    # The handbook takes d2 as 1.128.
    assert chart.upper[0] == pytest.approx(55.8041, abs=0.002)
    assert chart.lower[0] == pytest.approx(45.8159, abs=0.002)


def test_it_sums_the_textbook_concentrations_by_sides() -> None:
    # Same data in the textbook's tabular form, sd 2, k 0.5, h 5: the second value gives 99 - 1 - 94.8.
    found = cusum(CONCENTRATIONS, target=99, sd=2, slack=0.5, limit=5)
    assert found.falls[:3] == pytest.approx((0, 3.2, 2.9))
    assert found.rises[:3] == pytest.approx((2, 0, 0))
    assert found.signals_below == found.signals_above == ()


@pytest.mark.parametrize(
    ("limit", "one_sided", "two_sided", "shifted"), [(4, 335.4, 167.7, 8.38), (5, 930.9, 465.4, 10.38)]
)
def test_it_gives_the_run_lengths_of_cumulative_sums(
    limit: float, one_sided: float, two_sided: float, shifted: float
) -> None:
    # k = 0.5; two-sided figures and shifts of one sd as in Montgomery, Introduction to Statistical Quality
    # Control (168, 465, 8.38, 10.4), one more digit computed from Page's integral equation by other means.
    assert cusum_run_length(slack=0.5, limit=limit) == pytest.approx(one_sided, abs=0.05)
    assert cusum_run_length(slack=0.5, limit=limit, two_sided=True) == pytest.approx(two_sided, abs=0.05)
    assert cusum_run_length(slack=0.5, limit=limit, shift=1) == pytest.approx(shifted, abs=0.005)
    assert cusum_run_length(slack=0.5, limit=limit, shift=1, two_sided=True) == pytest.approx(shifted, abs=0.01)


@pytest.mark.parametrize(("width", "visits"), [(2.962, 500), (2.86, 371)])
def test_it_gives_the_run_lengths_of_weighted_means(width: float, visits: float) -> None:
    # Lucas and Saccucci 1990, Technometrics 32: 1-12, weight 0.2, both sides.
    assert ewma_run_length(weight=0.2, width=width) == pytest.approx(visits, rel=0.003)


def test_it_gives_the_run_length_of_single_visits() -> None:
    # Two-sided three-sd limits: one in 370.4, in every textbook.
    assert ewma_run_length(weight=1, width=3) == pytest.approx(370.4, abs=0.3)
