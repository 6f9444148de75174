"""Control charts of a site for its coordinators: a slow decline that no single visit reveals.

An agency hears of single visits below a trigger only; nothing here sends an alert.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.charts import NARROW, WIDE, Size
from alerts.queries import values_of
from portal.charts import ControlPoint, control_state, draw_control
from portal.charts.words import words_for
from scoring.baseline import describe, mean_visits_to_signal
from scoring.control import Chart, ewma, ewma_run_length, sd_from_ranges, shewhart
from scoring.indices.methods import Method
from surveys.queries import HistoryPoint

# Limits of three standard deviations are Shewhart's own; the weighted mean's give about as rare false signals.
SHEWHART_WIDTH = 3.0
EWMA_WEIGHT, EWMA_WIDTH = 0.2, 2.86


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
    """One control chart with its points in order of time."""

    key: str
    title: str
    explains: str
    center: float
    points: Sequence[ControlPoint]
    index_name: str
    unit: str

    @property
    def wide(self) -> str:
        return self.draw(WIDE)

    @property
    def narrow(self) -> str:
        return self.draw(NARROW)

    def draw(self, size: Size) -> str:
        """SVG of that size in pixels."""
        return draw_control(
            self.points,
            center=self.center,
            title=self.title,
            index_name=self.index_name,
            unit=self.unit,
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
    """Single visits and their weighted mean against limits from the baseline; empty where it can give none.

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
    return [
        _view("single", _("Single visits (Shewhart chart)"), _single_words(sd, method), single, sound, method),
        _view(
            "weighted", _("Weighted mean (EWMA chart)"), _weighted_words(sd, method), weighted, sound, method
        ),
    ]


def _view(
    key: str, title: str, explains: str, chart: Chart, sound: Sequence[HistoryPoint], method: Method
) -> ControlView:
    rows = zip(sound, chart.values, chart.lower, chart.upper, strict=True)
    points = [ControlPoint(visit.when, value, lower, upper) for visit, value, lower, upper in rows]
    return ControlView(key, title, explains, chart.center, points, method.name, method.unit)


def _single_words(sd: float, method: Method) -> str:
    calm, moved = _single_runs()
    words = _(
        "Each score between limits three standard deviations from the usual level. It shows a sudden change: "
        "at an unchanged site one visit in about %(calm)s lies beyond, and a lasting change by one standard "
        "deviation (%(sd)s) takes about %(moved)s visits to show."
    )
    return words % _figures(calm, moved, sd, method)


def _weighted_words(sd: float, method: Method) -> str:
    calm, moved = _weighted_runs()
    words = _(
        "Each visit counts for a fifth and what was before it for the rest, so that small changes add up. It "
        "shows a slow change: at an unchanged site it signals once in about %(calm)s visits, and a lasting "
        "change by one standard deviation (%(sd)s) takes about %(moved)s visits to show."
    )
    return words % _figures(calm, moved, sd, method)


def _figures(calm: float, moved: float, sd: float, method: Method) -> dict[str, str]:
    return {"calm": f"{calm:.0f}", "moved": f"{moved:.0f}", "sd": f"{sd:.{max(1, method.decimals)}f}"}


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
