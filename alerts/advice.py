"""What a trigger level would mean at a site: how often it fires by chance and what fall it catches."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.utils.translation import gettext as _

from alerts.queries import baseline_points, values_of
from scoring.baseline import (
    Baseline,
    chance_next_lowest,
    chance_of_false_alarm,
    describe,
    prediction_factor,
    student_chance,
)
from scoring.indices.methods import METHODS, Method
from surveys.models import Site

# Common practice, no source: the chance per visit that a proposed level is worked out for.
USUAL_CHANCE = 0.05


@dataclass(frozen=True)
class Advice:
    """Figures for one level. Chances are between 0 and 1 and hold for a site that has not changed."""

    method: Method
    baseline: Baseline | None
    level: float | None
    proposed: float | None
    chance_per_visit: float | None
    visits_per_year: int
    chance_per_year: float | None
    fall: float | None
    chance_lowest: float | None

    @property
    def percent_per_visit(self) -> str:
        return percent(self.chance_per_visit)

    @property
    def percent_per_year(self) -> str:
        return percent(self.chance_per_year)

    @property
    def percent_usual_year(self) -> str:
        """The chance of a false alarm in a year at the usual chance per visit, whatever the site holds."""
        return percent(chance_of_false_alarm(USUAL_CHANCE, self.visits_per_year))

    @property
    def percent_lowest(self) -> str:
        return percent(self.chance_lowest)


def percent(chance: float | None) -> str:
    """A chance in percent: one decimal below 10 %, "under 0.1" for the smallest, empty for none."""
    if chance is None:
        return ""
    if chance < 0.001:
        return _("under 0.1")
    return f"{chance:.0%}"[:-1] if chance >= 0.0995 else f"{100 * chance:.1f}".removesuffix(".0")


def advise(site: Site, index: str, level: float | None = None) -> Advice:
    """Figures for a level of an index, or for the level that 1 visit in 20 falls below by chance.

    Chances follow the one-sided prediction limit for one more visit (Student's t, n - 1 degrees of freedom).
    """
    baseline = describe(values_of(baseline_points(site, index)))
    proposed = propose_level(baseline)
    level = proposed if level is None else level
    chance = chance_below(level, baseline)
    visits = max(1, round(365 / site.visit_interval_days))
    return Advice(
        method=METHODS[index],
        baseline=baseline,
        level=level,
        proposed=proposed,
        chance_per_visit=chance,
        visits_per_year=visits,
        chance_per_year=None if chance is None else chance_of_false_alarm(chance, visits),
        fall=baseline.mean - level if baseline and level is not None and level < baseline.mean else None,
        chance_lowest=chance_next_lowest(baseline.n) if baseline else None,
    )


def propose_level(baseline: Baseline | None) -> float | None:
    """The level that an unchanged site falls below at 5 % of visits; None without spread to tell it from."""
    if baseline is None or not baseline.sd:
        return None
    level = baseline.mean - prediction_factor(baseline.n, 1 - USUAL_CHANCE) * baseline.sd
    return level if level > 0 else None


def chance_below(level: float | None, baseline: Baseline | None) -> float | None:
    """The chance that one more visit to an unchanged site scores below `level`."""
    if level is None or baseline is None or not baseline.sd:
        return None
    t = (baseline.mean - level) / (baseline.sd * math.sqrt(1 + 1 / baseline.n))
    below = student_chance(abs(t), baseline.n - 1)
    return 1 - below if t >= 0 else below
