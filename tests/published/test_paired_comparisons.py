"""Comparisons against the examples of Hollander and Wolfe, and against the rank tests of scipy.

Hollander and Wolfe 1973, Nonparametric Statistical Methods: depression scores of nine patients before and after
(page 29) and permeability of membranes at term and earlier (page 69). Data and figures from memory, as carried
by the manual of R's wilcox.test; recomputed.
"""

import numpy as np
import pytest
from scipy.stats import mannwhitneyu, wilcoxon

from scoring.comparison import compare_pairs, compare_periods

FIRST = (1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30)
SECOND = (0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29)
AT_TERM = (0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46)
EARLIER = (1.15, 0.88, 0.90, 0.74, 1.21)


def test_it_estimates_the_change_of_the_depression_scores() -> None:
    found = compare_pairs(list(zip(FIRST, SECOND, strict=True)))
    assert found.difference == pytest.approx(-0.46, abs=0.001)
    assert found.low == pytest.approx(-0.786, abs=0.0005)
    assert found.high == pytest.approx(-0.010, abs=0.0005)
    assert found.confidence == pytest.approx(0.961, abs=0.0005)
    assert found.direction == "lower"


def test_it_estimates_the_difference_of_permeability() -> None:
    found = compare_periods(EARLIER, AT_TERM)
    assert found.difference == pytest.approx(0.305, abs=0.001)
    assert found.low == pytest.approx(-0.15, abs=0.005)
    assert found.high == pytest.approx(0.76, abs=0.005)
    assert not found.is_clear


@pytest.mark.parametrize("seed", range(15))
@pytest.mark.parametrize("n", [6, 9, 14, 30])
def test_it_is_clear_where_the_signed_rank_test_rejects(seed: int, n: int) -> None:
    gaps = np.random.default_rng(seed).normal(0.6, 1, n)
    found = compare_pairs([(0.0, float(gap)) for gap in gaps])
    assert found.is_clear == (wilcoxon(gaps, method="exact").pvalue <= 0.05)


@pytest.mark.parametrize("seed", range(15))
@pytest.mark.parametrize(("m", "n"), [(4, 5), (8, 8), (12, 20)])
def test_it_is_clear_where_the_rank_sum_test_rejects(seed: int, m: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    before, after = rng.normal(0, 1, m).tolist(), rng.normal(1, 1, n).tolist()
    found = compare_periods(before, after)
    assert found.is_clear == (mannwhitneyu(before, after, method="exact").pvalue <= 0.05)
