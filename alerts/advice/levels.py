"""What a trigger level would mean at a site, from its own baseline visits (scoring.advice does the sums)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from statistics import quantiles
from typing import Any

from django.utils import timezone

from alerts.queries import values_of
from scoring.advice import ASSUMES, Advice, LevelAdvice, advise_trigger
from scoring.baseline import PROVISIONAL_BELOW
from scoring.indices.methods import METHODS, Method
from surveys.models import Site
from surveys.queries import HistoryPoint

# Common practice, no source: a false alarm every other year wears out neither the group nor the agency.
USUAL_WISH = 0.5
# Stored with each advice, so that its intervals can be worked out again to the last digit.
SEED = 1
YEAR_ROUND = ""
SEASONS = {
    "winter": (12, 1, 2),
    "spring": (3, 4, 5),
    "summer": (6, 7, 8),
    "autumn": (9, 10, 11),
}


@dataclass(frozen=True)
class Question:
    """What is asked: an index, a level to try (None: the suggested one), the wished rate, season and falls."""

    index: str
    level: float | None = None
    wanted: float | None = USUAL_WISH
    season: str = YEAR_ROUND
    falls: tuple[float, ...] | None = None


@dataclass(frozen=True)
class SiteAdvice:
    """The answer for a site; `advice` is None while no baseline visit can say anything."""

    question: Question
    method: Method
    visits_per_year: float
    advice: Advice | None

    @property
    def candidate(self) -> LevelAdvice | None:
        """The level asked for, or the suggested one; None when there is neither."""
        return self.advice.asked if self.advice else None

    @property
    def values(self) -> list[float]:
        """The scores of the baseline visits in question, lowest first."""
        pairs = self.advice.distribution if self.advice else ()
        return [score for score, visits in pairs for _each in range(visits)]


def visits_per_year(site: Site, season: str = YEAR_ROUND) -> float:
    """How many visits a year the plan of the site makes, in the months of that season."""
    yearly = max(1, round(365 / site.visit_interval_days))
    return yearly * (len(SEASONS[season]) / 12 if season else 1)


def advise(site: Site, question: Question, baseline: Sequence[HistoryPoint]) -> SiteAdvice:
    """Answer the question from the site's baseline points.

    Raises scoring.advice.AdviceError for a question without an answer.
    """
    method, rate = METHODS[question.index], visits_per_year(site, question.season)
    chosen = [each for each in baseline if _in_season(each, question.season)]
    advice = _ask(chosen, question, rate) if chosen else None
    if advice and question.level is None and advice.suggestion and advice.suggestion.level:
        advice = _ask(chosen, replace(question, level=advice.suggestion.level.level), rate)
    return SiteAdvice(question, method, rate, advice)


def _in_season(point: HistoryPoint, season: str) -> bool:
    return not season or point.when.month in SEASONS[season]


def _ask(points: Sequence[HistoryPoint], question: Question, rate: float) -> Advice:
    return advise_trigger(
        list(zip((each.when for each in points), values_of(points), strict=True)),
        index=question.index,
        visits_per_year=rate,
        level=question.level,
        false_alarms_per_year=question.wanted,
        falls=question.falls,
        season=SEASONS.get(question.season),
        seed=SEED,
    )


def far_below(baseline: Sequence[HistoryPoint]) -> list[HistoryPoint]:
    """Baseline visits lower than three times the spread of the middle half below it: unmarked falls, perhaps.

    Tukey 1977, Exploratory Data Analysis, section 2E ("far out"). None while the baseline is provisional.
    """
    if len(baseline) < PROVISIONAL_BELOW:
        return []
    low, _middle, high = quantiles(values_of(baseline), n=4, method="inclusive")
    fence = low - 3 * (high - low)
    return [each for each in baseline if each.value is not None and each.value < fence]


def record_advice(told: SiteAdvice, *, was_on_screen: bool) -> dict[str, Any]:
    """The advice on the candidate level as plain data, to be kept with the trigger it led to."""
    advice, suggestion = told.advice, told.advice.suggestion if told.advice else None
    suggested = suggestion.level if suggestion else None
    return {
        "taken_on": timezone.localdate().isoformat(),
        "was_on_screen": was_on_screen,
        "index": told.method.key,
        "method_version": told.method.version,
        "season": told.question.season,
        "visits_per_year": told.visits_per_year,
        "wanted_per_year": told.question.wanted,
        "suggested_level": suggested.level if suggested else None,
        "baseline": asdict(advice.baseline) if advice else None,
        "level": asdict(told.candidate) if told.candidate else None,
        "cautions": list(advice.cautions) if advice else [],
        "assumes": ASSUMES,
        "seed": SEED,
    }
