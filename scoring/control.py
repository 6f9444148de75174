"""Control charts of a site's scores, and how long they run before they signal.

They show coordinators a slow decline that no single visit reveals; an agency hears of single visits only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np

# Mean range of two normal values in standard deviations: 2 / sqrt(pi), printed as 1.128.
D2 = 2 / math.sqrt(math.pi)


@dataclass(frozen=True)
class Chart:
    """A control chart: the plotted statistic, its limits and the places (0 first) that lie beyond one.

    All tuples have one entry per visit, in order of time, in the units of the score.
    """

    center: float
    values: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]

    @property
    def signals_below(self) -> tuple[int, ...]:
        """Visits whose value lies below the lower limit, strictly: a fall."""
        return tuple(at for at, value in enumerate(self.values) if value < self.lower[at])

    @property
    def signals_above(self) -> tuple[int, ...]:
        """Visits whose value lies above the upper limit, strictly."""
        return tuple(at for at, value in enumerate(self.values) if value > self.upper[at])


@dataclass(frozen=True)
class Cusum:
    """Tabular sums of a fall and of a rise, never below 0, and the decision limit, in units of the score."""

    falls: tuple[float, ...]
    rises: tuple[float, ...]
    limit: float

    @property
    def signals_below(self) -> tuple[int, ...]:
        """Visits at which the sum of falls stands above the limit, strictly."""
        return tuple(at for at, value in enumerate(self.falls) if value > self.limit)

    @property
    def signals_above(self) -> tuple[int, ...]:
        """Visits at which the sum of rises stands above the limit, strictly."""
        return tuple(at for at, value in enumerate(self.rises) if value > self.limit)


def sd_from_ranges(baseline: Sequence[float]) -> float:
    """Return the mean range of successive visits over d2 = 1.128.

    Steps and drifts inflate it less than the usual standard deviation (NIST/SEMATECH e-Handbook, 6.3.2.2).
    Raises ValueError for fewer than two visits.
    """
    _check(baseline, least=2)
    ranges = [abs(later - earlier) for earlier, later in pairwise(baseline)]
    return math.fsum(ranges) / len(ranges) / D2


def shewhart(values: Sequence[float], *, target: float, sd: float, width: float = 3.0) -> Chart:
    """Return the chart of single visits: limits target -+ width x sd (Shewhart 1931)."""
    _check(values, sd=sd)
    reach = (width * sd,) * len(values)
    return _chart(target, tuple(values), reach)


def ewma(
    values: Sequence[float], *, target: float, sd: float, weight: float = 0.2, width: float = 2.86
) -> Chart:
    """Return the chart of the weighted mean z_i = weight x_i + (1 - weight) z_(i-1), with z_0 = target.

    Limits for visit i (Lucas and Saccucci 1990, Technometrics 32: 1-12; Montgomery, Introduction to Statistical
    Quality Control): target -+ width sd sqrt(weight / (2 - weight) (1 - (1 - weight)^(2 i))). Raises ValueError
    for a weight that is not above 0 and at most 1.
    """
    _check(values, sd=sd)
    _check_weight(weight)
    means = tuple(accumulate(values, lambda mean, value: mean + weight * (value - mean), initial=target))[1:]
    reach = tuple(
        width * ewma_sd(sd, weight) * math.sqrt(1 - (1 - weight) ** (2 * visit))
        for visit in range(1, len(values) + 1)
    )
    return _chart(target, means, reach)


def ewma_sd(sd: float, weight: float) -> float:
    """Return the standard deviation that the weighted mean settles at: sd sqrt(weight / (2 - weight))."""
    return sd * math.sqrt(weight / (2 - weight))


def cusum(
    values: Sequence[float], *, target: float, sd: float, slack: float = 0.5, limit: float = 4.0
) -> Cusum:
    """Return the tabular cumulative sums (Page 1954, Biometrika 41: 100-115), slack and limit in sds.

    Falls: C_i = max(0, C_(i-1) + target - x_i - slack sd); rises likewise; the sum signals above limit x sd.
    """
    _check(values, sd=sd)

    def sums(side: int) -> tuple[float, ...]:
        steps = (side * (value - target) - slack * sd for value in values)
        return tuple(accumulate(steps, lambda total, step: max(0.0, total + step), initial=0.0))[1:]

    return Cusum(sums(-1), sums(1), limit * sd)


def cusum_run_length(*, slack: float, limit: float, shift: float = 0.0, two_sided: bool = False) -> float:
    """Return the mean number of visits until a CUSUM signals, the mean being off by `shift` sds to its side.

    Solves Page's integral equation L(u) = 1 + L(0) F(k - u) + integral over 0 to h of L(z) f(z + k - u), by
    Gauss-Legendre quadrature. Two sides join as 1 / (1 / L+ + 1 / L-) (Van Dobben de Bruyn 1968).
    """
    one = _cusum_one_side(slack, limit, shift)
    return 1 / (1 / one + 1 / _cusum_one_side(slack, limit, -shift)) if two_sided else one


def _cusum_one_side(slack: float, limit: float, shift: float) -> float:
    nodes, weights = _quadrature(0.0, limit)
    starts = np.concatenate(([0.0], nodes))
    stay = np.array([_normal_chance(slack - shift - start) for start in starts])
    density = _normal_density(nodes[None, :] + slack - shift - starts[:, None]) * weights
    return _solve(np.column_stack((stay, density)))


def ewma_run_length(*, weight: float, width: float, shift: float = 0.0) -> float:
    """Return the mean number of visits until a two-sided EWMA signals at its settled limits.

    Solves Crowder's integral equation (1987, Technometrics 29: 401-407) by Gauss-Legendre quadrature. Raises
    ValueError for a weight that is not above 0 and at most 1.
    """
    _check_weight(weight)
    reach = width * ewma_sd(1.0, weight)
    nodes, weights = _quadrature(-reach, reach)
    starts = np.concatenate(([0.0], nodes))
    draws = (nodes[None, :] - (1 - weight) * starts[:, None]) / weight - shift
    kernel = _normal_density(draws) * weights / weight
    # The start at the target is itself no node: a column of zeros keeps the system square.
    return _solve(np.column_stack((np.zeros(len(starts)), kernel)))


Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]


def _solve(kernel: Array) -> float:
    lengths = np.linalg.solve(np.eye(len(kernel)) - kernel, np.ones(len(kernel)))
    return float(lengths[0])


def _quadrature(low: float, high: float, nodes: int = 80) -> tuple[Array, Array]:
    at, weights = np.polynomial.legendre.leggauss(nodes)
    half = (high - low) / 2
    return low + half * (at + 1), half * weights


def _normal_density(z: Array) -> Array:
    return np.asarray(np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi))


def _normal_chance(z: float) -> float:
    return math.erfc(-z / math.sqrt(2)) / 2


def _chart(center: float, values: tuple[float, ...], reach: Sequence[float]) -> Chart:
    return Chart(center, values, tuple(center - one for one in reach), tuple(center + one for one in reach))


def _check(values: Sequence[float], *, sd: float = 1.0, least: int = 0) -> None:
    if not all(map(math.isfinite, values)):
        raise ValueError("a control chart needs finite scores")
    if len(values) < least:
        raise ValueError(f"at least {least} visits are needed")
    # Scores that never varied give no measure to judge a change by.
    if not (math.isfinite(sd) and sd > 0):
        raise ValueError("a control chart needs a standard deviation above 0")


def _check_weight(weight: float) -> None:
    if not 0 < weight <= 1:
        raise ValueError("the weight of a new visit lies above 0 and is at most 1")
