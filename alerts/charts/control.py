"""Control charts of a site for its coordinators: a slow decline that no single visit reveals.

An agency hears of single visits below a trigger only; nothing here sends an alert.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.charts.drawn_once import drawn_once
from alerts.charts.of_site import NARROW, WIDE, Size
from alerts.queries import values_of
from portal.charts import ControlPoint, control_state, draw_control
from portal.charts.words import words_for
from scoring.baseline import describe, mean_visits_to_signal
from scoring.control import Chart, cusum, cusum_run_length, ewma, ewma_run_length, sd_from_ranges, shewhart
from scoring.indices.methods import Method
from surveys.queries import HistoryPoint
from surveys.texts.told import told

# Limits of three standard deviations are Shewhart's own; the weighted mean's give about as rare false signals.
SHEWHART_WIDTH = 3.0
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.86
# The usual choice for a shift of one standard deviation (Montgomery, Statistical Quality Control).
CUSUM_SLACK, CUSUM_LIMIT = 0.5, 4.0


@dataclass(frozen=True)
class ControlRow:
    """A visit in the table behind a chart; `meaning` says on which side of the limits it lies."""

    when: str
    value: float
    lower: float
    upper: float
    meaning: str


@dataclass(frozen=True)
class ControlView:
    """One control chart with its points in order of time; `is_extra` marks one that stands folded away."""

    key: str
    title: str
    explains: str
    formula: str
    center: float
    points: Sequence[ControlPoint]
    index_name: str
    unit: str
    is_extra: bool = False

    @property
    def wide(self) -> str:
        return self.draw(WIDE)

    @property
    def narrow(self) -> str:
        return self.draw(NARROW)

    def draw(self, size: Size) -> str:
        """SVG of that size in pixels."""
        return drawn_once(
            draw_control,
            self.points,
            center=self.center,
            title=self.title,
            index_name=told(self.index_name),
            unit=told(self.unit),
            width=size[0],
            height=size[1],
            lang=get_language() or "en",
        )

    @property
    def rows(self) -> list[ControlRow]:
        """The figures behind the drawing."""
        words = words_for(get_language() or "en")
        return [
            ControlRow(
                words.day(each.when), each.value, each.lower, each.upper, getattr(words, control_state(each))
            )
            for each in self.points
        ]

    @property
    def signals(self) -> list[ControlRow]:
        """The visits beyond a limit."""
        return [
            row for row, point in zip(self.rows, self.points, strict=True) if control_state(point) != "within"
        ]


def control_views(
    sound: Sequence[HistoryPoint], baseline: Sequence[HistoryPoint], method: Method
) -> list[ControlView]:
    """Single visits, their weighted mean and the sum of falls; empty where the baseline can give no limits.

    `sound` are all visits that can be compared, in order of time; known falls count as visits, yet never
    towards the limits.
    """
    usual = values_of(baseline)
    described = describe(usual)
    if described is None or described.is_provisional or not (sd := sd_from_ranges(usual)):
        return []
    values, target = values_of(sound), described.mean
    single = shewhart(values, target=target, sd=sd, width=SHEWHART_WIDTH)
    weighted = ewma(values, target=target, sd=sd, weight=EWMA_WEIGHT, width=EWMA_WIDTH)
    sums = _sum_of_falls(values, target, sd)
    words = _Words(sd, method)
    return [
        ControlView(
            "single", *words.single(), single.center, _single_points(sound, single), method.name, method.unit
        ),
        ControlView(
            "weighted", *words.weighted(), weighted.center, _points(sound, weighted), method.name, method.unit
        ),
        ControlView(
            "falls", *words.falls(), sums.center, _points(sound, sums), method.name, method.unit, is_extra=True
        ),
    ]


def _sum_of_falls(values: Sequence[float], target: float, sd: float) -> Chart:
    """The usual level less the sum of falls, so that the drawing sinks as the scores do."""
    sums = cusum(values, target=target, sd=sd, slack=CUSUM_SLACK, limit=CUSUM_LIMIT)
    visits = len(values)
    sunk = tuple(target - fall for fall in sums.falls)
    return Chart(target, sunk, (target - sums.limit,) * visits, (target,) * visits)


def _single_points(sound: Sequence[HistoryPoint], chart: Chart) -> list[ControlPoint]:
    """The plotted value is the score itself here, so its own range stands beside it."""
    pairs = zip(sound, _points(sound, chart), strict=True)
    return [replace(point, low=visit.low, high=visit.high) for visit, point in pairs]


def _points(sound: Sequence[HistoryPoint], chart: Chart) -> list[ControlPoint]:
    rows = zip(sound, chart.values, chart.lower, chart.upper, strict=True)
    return [ControlPoint(visit.when, value, lower, upper) for visit, value, lower, upper in rows]


@dataclass(frozen=True)
class _Words:
    """Title, explanation and formula of each chart, for a standard deviation in units of the score."""

    sd: float
    method: Method

    def single(self) -> tuple[str, str, str]:
        explains = _(
            "Each score between limits three standard deviations from the usual level. It shows a sudden "
            "change: at an unchanged site one visit in about %(calm)s lies beyond, and a lasting change by "
            "one standard deviation (%(sd)s) takes about %(moved)s visits to show."
        )
        formula = _(
            "Limits: usual level ± 3 s; s is the mean difference between successive baseline visits divided by "
            "1.128 (Shewhart 1931; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2)."
        )
        return _("Single visits (Shewhart chart)"), explains % self._figures(*_single_runs()), formula

    def weighted(self) -> tuple[str, str, str]:
        explains = _(
            "Each visit counts for a fifth and what was before it for the rest, so that small changes add up. "
            "It shows a slow change: at an unchanged site it signals once in about %(calm)s visits, and a "
            "lasting change by one standard deviation (%(sd)s) takes about %(moved)s visits to show."
        )
        formula = _(
            "z = 0.2 × score + 0.8 × the z before, from the usual level on; limits at the i-th visit: usual "
            "level ± 2.86 s √(0.2 / 1.8 × (1 − 0.8^(2i))) (Lucas and Saccucci 1990, Technometrics 32: 1–12)."
        )
        return _("Weighted mean (EWMA chart)"), explains % self._figures(*_weighted_runs()), formula

    def falls(self) -> tuple[str, str, str]:
        explains = _(
            "What each visit lies below the usual level, beyond half a standard deviation, is added up and "
            "taken from the usual level; a better visit lifts the line back, never above that level. It "
            "answers first to a small fall that lasts: at an unchanged site it signals once in about %(calm)s "
            "visits, and a lasting fall by one standard deviation (%(sd)s) takes about %(moved)s visits to "
            "show."
        )
        formula = _(
            "C = the C before + (usual level − score) − s / 2, and 0 where that is negative; drawn is usual "
            "level − C, the limit is usual level − 4 s (Page 1954, Biometrika 41: 100–115; Montgomery, "
            "Introduction to Statistical Quality Control)."
        )
        return _("Sum of falls (CUSUM chart)"), explains % self._figures(*_falls_runs()), formula

    def _figures(self, calm: float, moved: float) -> dict[str, str]:
        decimals = max(1, self.method.decimals)
        return {"calm": f"{calm:.0f}", "moved": f"{moved:.0f}", "sd": f"{self.sd:.{decimals}f}"}


@cache
def _single_runs() -> tuple[float, float]:
    """Mean visits to a signal of an unchanged site, and after a lasting change by one standard deviation."""
    # Either side signals: their chances add up.
    calm = mean_visits_to_signal(0.0, SHEWHART_WIDTH) / 2
    below, above = (mean_visits_to_signal(shift, SHEWHART_WIDTH) for shift in (1.0, -1.0))
    return calm, 1 / (1 / below + 1 / above)


@cache
def _weighted_runs() -> tuple[float, float]:
    calm, moved = (ewma_run_length(weight=EWMA_WEIGHT, width=EWMA_WIDTH, shift=shift) for shift in (0.0, 1.0))
    return calm, moved


@cache
def _falls_runs() -> tuple[float, float]:
    calm, moved = (cusum_run_length(slack=CUSUM_SLACK, limit=CUSUM_LIMIT, shift=shift) for shift in (0.0, 1.0))
    return calm, moved
