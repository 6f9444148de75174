"""Whether a site changed: trend over the years, before and after a day, and against the next site.

Visits below a trigger stay in: leaving falls out would hide the very change that is looked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from scoring.comparison import Comparison, Pair, compare_impact, compare_pairs, compare_periods
from scoring.indices import METHODS, Method
from scoring.trend import Season, Trend, by_month, by_quarter, by_year, seasonal_kendall
from surveys.models import Site, VisitScore
from surveys.queries import HistoryPoint, site_histories

Dated = Sequence[tuple[date, float]]
# The season is as long as keeps about one visit in it: longer ones would mix spring with summer.
MONTHLY_UP_TO, QUARTERLY_UP_TO = 45, 120
# Common practice, no source: visits so few days apart saw the same weather and season.
PAIRED_WITHIN = 7


@dataclass(frozen=True)
class Pairing:
    """Two neighbouring sites at visits at most `PAIRED_WITHIN` days apart, `second` downstream of `first`.

    `pairs` counts them. `impact` tells how the gap between them changed at the day asked for; None without a
    day or pairs on both sides of it. `comparison` is None without a single pair.
    """

    first: Site
    second: Site
    pairs: int
    comparison: Comparison | None
    impact: Comparison | None


@dataclass(frozen=True)
class SiteChange:
    """Everything that the page tells of one site and index; `periods` is None without visits on both sides."""

    method: Method
    scores: Dated
    trend: Trend | None
    season: str
    since: date | None
    before: int
    after: int
    periods: Comparison | None
    pairings: Sequence[Pairing]


def change_of(site: Site, index: str, since: date | None) -> SiteChange:
    """Work it out (two queries, however many neighbours there are)."""
    others = _neighbours(site)
    histories = site_histories([site, *others], index)
    sound = {key: dated([each for each in points if each.is_sound]) for key, points in histories.items()}
    scores = sound[site.pk]
    before, after = split(scores, since)
    season_name, season = season_of(site)
    return SiteChange(
        method=METHODS[index],
        scores=scores,
        trend=seasonal_kendall(scores, season=season) if scores else None,
        season=season_name,
        since=since,
        before=len(before),
        after=len(after),
        periods=compare_periods(before, after) if before and after else None,
        pairings=[_pairing(site, scores, one, sound[one.pk], since) for one in others],
    )


def indices_scored(site: Site) -> list[Method]:
    """The methods by which any visit of the site has a score, in the usual order (one query)."""
    scored = VisitScore.objects.of_group(site.group).filter(visit__site=site, is_current=True)
    known = set(scored.order_by().values_list("index", flat=True).distinct())
    return [method for key, method in METHODS.items() if key in known]


def dated(points: Sequence[HistoryPoint]) -> list[tuple[date, float]]:
    """Day and score of each point that has one."""
    return [(each.when, each.value) for each in points if each.value is not None]


def split(scores: Dated, since: date | None) -> tuple[list[float], list[float]]:
    """Scores before the day, and from that day on; none of both without a day."""
    if since is None:
        return [], []
    return [score for day, score in scores if day < since], [score for day, score in scores if day >= since]


def season_of(site: Site) -> tuple[str, Season]:
    """Name and kind of the seasons that a site visited so often is compared by."""
    if site.visit_interval_days <= MONTHLY_UP_TO:
        return "month", by_month
    return ("quarter", by_quarter) if site.visit_interval_days <= QUARTERLY_UP_TO else ("year", by_year)


def _neighbours(site: Site) -> list[Site]:
    """The sites directly above, then the one below."""
    above = list(site.upstream.select_related("group"))
    return [*above, site.downstream] if site.downstream else above


def _pairing(site: Site, scores: Dated, other: Site, others: Dated, since: date | None) -> Pairing:
    is_below = other.pk == site.downstream_id
    upper, lower = (scores, others) if is_below else (others, scores)
    first, second = (site, other) if is_below else (other, site)
    pairs = pair_visits(upper, lower)
    return Pairing(
        first=first,
        second=second,
        pairs=len(pairs),
        comparison=compare_pairs(pairs) if pairs else None,
        impact=_impact(upper, lower, since),
    )


def _impact(upper: Dated, lower: Dated, since: date | None) -> Comparison | None:
    if since is None:
        return None
    halves = [
        pair_visits(_side(upper, since, late=late), _side(lower, since, late=late)) for late in (False, True)
    ]
    return compare_impact(halves[0], halves[1]) if all(halves) else None


def _side(scores: Dated, since: date, *, late: bool) -> Dated:
    return [(day, score) for day, score in scores if (day >= since) == late]


def pair_visits(upper: Dated, lower: Dated) -> list[Pair]:
    """Pairs of scores at most `PAIRED_WITHIN` days apart, the closest first; each visit in one pair."""
    above, below = _daily(upper), _daily(lower)
    close = sorted(
        (abs((one - other).days), one, other)
        for one in above
        for other in below
        if abs((one - other).days) <= PAIRED_WITHIN
    )
    partners: dict[date, date] = {}
    for _apart, one, other in close:
        if one not in partners and other not in partners.values():
            partners[one] = other
    return [(above[one], below[partners[one]]) for one in sorted(partners)]


def _daily(scores: Dated) -> Mapping[date, float]:
    """One score a day: the median where a site was visited twice."""
    found: dict[date, list[float]] = {}
    for day, score in scores:
        found.setdefault(day, []).append(score)
    return {day: median(each) for day, each in found.items()}
