"""The seasonal Kendall test against an independent library (pymannkendall), scipy and a published example."""

import math
from datetime import date

import numpy as np
import numpy.typing as npt
import pymannkendall
import pytest
from scipy.stats import kendalltau, norm, theilslopes

from scoring.trend import by_year, seasonal_kendall

SEEDS = range(12)
# USGS Scientific Investigations Report 2005-5275, example SK1c: output seen; seven years of monthly values with
# gaps, the input file accompanies the report and was not at hand.
USGS = {"years": 7, "seasons": 12, "tau": -0.063, "S": -12, "z": -0.584, "p": 0.5592}


def draw(seed: int, *, years: int, seasons: int, gaps: float) -> npt.NDArray[np.float64]:
    """Whole scores with ties, a season, a slight trend and gaps, of shape (years, seasons)."""
    rng = np.random.default_rng(seed)
    slope = rng.normal(0, 1.5)
    scores = 50 + 15 * np.sin(np.arange(seasons)) + slope * np.arange(years)[:, None]
    scores = np.round(scores + rng.normal(0, 6, (years, seasons)))
    return np.where(rng.random((years, seasons)) < gaps, np.nan, scores)


def dated(scores: npt.NDArray[np.float64]) -> list[tuple[date, float]]:
    return [
        (date(2010 + year, 1 + month, 15), float(score))
        for (year, month), score in np.ndenumerate(scores)
        if not math.isnan(score)
    ]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("gaps", [0, 0.2])
def test_it_agrees_with_an_independent_library(seed: int, gaps: float) -> None:
    scores = draw(seed, years=8, seasons=12, gaps=gaps)
    found, other = seasonal_kendall(dated(scores)), pymannkendall.seasonal_test(scores.ravel(), period=12)
    assert found.s == other.s
    assert found.z == pytest.approx(other.z)
    assert found.p == pytest.approx(other.p)
    assert found.slope == pytest.approx(other.slope)
    # The library's tau divides by the pairs of full seasons, as ours where there are no gaps.
    if not gaps:
        assert found.tau == pytest.approx(other.Tau)
    assert found.is_clear == other.h


@pytest.mark.parametrize("seed", SEEDS)
def test_it_agrees_with_scipy_on_slope_and_limits_of_one_season(seed: int) -> None:
    scores = draw(seed, years=14, seasons=1, gaps=0.1)
    years = np.flatnonzero(~np.isnan(scores[:, 0]))
    found = seasonal_kendall(dated(scores), season=by_year)
    slope, _, low, high = theilslopes(scores[years, 0], years, 0.95)
    assert (found.slope, found.low, found.high) == pytest.approx((slope, low, high))


@pytest.mark.parametrize("seed", SEEDS)
def test_it_agrees_with_scipy_on_tau_without_ties(seed: int) -> None:
    scores = draw(seed, years=14, seasons=1, gaps=0) + np.linspace(0, 0.5, 14)[:, None]
    found = seasonal_kendall(dated(scores), season=by_year)
    assert found.tau == pytest.approx(kendalltau(np.arange(14), scores[:, 0]).statistic)


def test_it_holds_the_relations_of_the_published_output() -> None:
    # p belongs to z, and S one nearer to 0 over z is a spread that seven years with gaps allow.
    assert 2 * norm.sf(abs(USGS["z"])) == pytest.approx(USGS["p"], abs=0.0003)
    spread = (USGS["S"] + 1) / USGS["z"]
    full = math.sqrt(12 * 7 * 6 * 19 / 18)
    assert 0.7 * full < spread < full
    # tau is S over the pairs, of which twelve full seasons of seven years have 252.
    assert 100 < USGS["S"] / USGS["tau"] < 252


@pytest.mark.parametrize("seed", SEEDS)
def test_it_holds_the_same_relations_in_its_own_output(seed: int) -> None:
    found = seasonal_kendall(dated(draw(seed, years=7, seasons=12, gaps=0.12)))
    assert found.z is not None
    assert found.tau is not None
    assert found.p == pytest.approx(2 * norm.sf(abs(found.z)))
    assert found.tau == pytest.approx(found.s / found.pairs)
    spread = (abs(found.s) - 1) / abs(found.z) if found.z else 17.0
    assert 0.6 < spread / math.sqrt(12 * 7 * 6 * 19 / 18) < 1


def test_it_gives_the_variance_of_the_textbook() -> None:
    # Gilbert 1987, section 16.4.4: n (n - 1) (2 n + 5) / 18 without ties; S = 45 and z = 44 / sqrt(125) for ten
    # rising values (formula from the source, figures computed by hand).
    found = seasonal_kendall([(date(2010 + year, 5, 1), float(year)) for year in range(10)])
    assert found.s == 45
    assert found.z == pytest.approx(44 / math.sqrt(10 * 9 * 25 / 18))
