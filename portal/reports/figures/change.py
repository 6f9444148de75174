"""What changed at a site: the year against earlier years, season by season, and the trend of the whole record.

Only visits of standard effort with a score are compared. The year's own rise and fall is taken out by setting
each score against the median of its month (or quarter) in earlier years; what is left is compared as on the
page of a site's change.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from statistics import median
from typing import Any

from django.utils.translation import gettext as _

from scoring.comparison import Comparison, compare_periods
from scoring.indices import METHODS
from scoring.trend import Season, Trend, seasonal_kendall
from surveys.comparing.changes import Dated, SiteChange, season_of
from surveys.comparing.words import comparison_lines, trend_lines
from surveys.models import Site

# Fewer earlier scores say little of what a month usually holds (common practice, no source).
LEAST_EARLIER = 3


def describe_change(site: Site, index: str, scores: Dated, year: int) -> dict[str, Any]:
    """The change of the year and the trend in sentences, with their figures; `scores` are all sound ones."""
    name, season = season_of(site)
    found = compare_year(scores, year, season)
    trend = seasonal_kendall(scores, season=season) if scores else None
    return {
        "season": name,
        "year": _figures(found, index),
        "year_lines": _year_lines(found, index, year),
        "trend": _trend_figures(trend, index),
        "trend_lines": trend_lines(_as_change(index, scores, trend, name)),
    }


def compare_year(scores: Dated, year: int, season: Season) -> Comparison | None:
    """How far the year lies above like seasons of earlier years, in units of the score, with 95 % limits.

    Seasons with fewer than three earlier scores are left out; None when nothing is left.
    """
    usual = usual_levels([(day, score) for day, score in scores if day.year < year], season)
    gaps = [(day.year, score - usual[season(day)[1]]) for day, score in scores if season(day)[1] in usual]
    before = [gap for when, gap in gaps if when < year]
    during = [gap for when, gap in gaps if when == year]
    return compare_periods(before, during) if before and during else None


def usual_levels(scores: Dated, season: Season) -> dict[int, float]:
    """Season to the median of its scores, where there are three at least."""
    found: dict[int, list[float]] = defaultdict(list)
    for day, score in scores:
        found[season(day)[1]].append(score)
    return {name: median(values) for name, values in found.items() if len(values) >= LEAST_EARLIER}


def _figures(found: Comparison | None, index: str) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "earlier": found.first,
        "visits": found.second,
        "difference": found.difference,
        "low": found.low,
        "high": found.high,
        "meaning": _meaning(found.direction, index),
    }


def _trend_figures(trend: Trend | None, index: str) -> dict[str, Any] | None:
    if trend is None or trend.slope is None:
        return None
    meaning = _meaning({"rising": "higher", "falling": "lower"}.get(trend.direction, ""), index)
    return {"slope": trend.slope, "low": trend.low, "high": trend.high, "p": trend.p, "meaning": meaning}


def _meaning(direction: str, index: str) -> str:
    """ "better" or "worse" for a clear change, read the way the index runs; "" where none shows."""
    if direction not in ("higher", "lower"):
        return ""
    is_better = (direction == "higher") == (METHODS[index].higher_is == "better")
    return "better" if is_better else "worse"


def _year_lines(found: Comparison | None, index: str, year: int) -> list[str]:
    if found is None:
        return [
            _("The year cannot be set against earlier ones yet: that takes three earlier scores of its months.")
        ]
    subject = _("The year %(year)d") % {"year": year}
    return comparison_lines(subject, _("earlier years"), found, METHODS[index])


def _as_change(index: str, scores: Dated, trend: Trend | None, season: str) -> SiteChange:
    return SiteChange(
        method=METHODS[index],
        scores=scores,
        trend=trend,
        season=season,
        since=None,
        before=0,
        after=0,
        periods=None,
        pairings=[],
    )


def years_of(points: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The record year by year, the table behind the chart: visits, median, span, and how many fell below."""
    by_year: Mapping[str, list[dict[str, Any]]] = defaultdict(list)
    for point in points:
        by_year[point["on"][:4]].append(point)
    return [_year_row(int(year), found) for year, found in sorted(by_year.items())]


def _year_row(year: int, points: list[dict[str, Any]]) -> dict[str, Any]:
    values = [each["value"] for each in points if each["value"] is not None]
    return {
        "year": year,
        "visits": len(points),
        "median": median(values) if values else None,
        "lowest": min(values) if values else None,
        "highest": max(values) if values else None,
        "below": sum(each["outcome"] == "below" for each in points),
    }
