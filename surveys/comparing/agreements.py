"""Counts of one site and day held against each other: replicate samples, or one tray counted by two people."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from uuid import UUID

from django.db.models import Count
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group
from scoring.agreement import (
    THRESHOLDS,
    Agreement,
    ScoreDifference,
    Threshold,
    YearOfAgreement,
    compare_counts,
    summarise,
)
from scoring.indices import METHODS, Method
from surveys.lists.recording import leading_indices, reasons_of
from surveys.models import Visit
from surveys.scores.judging import counts_of

MEASURES: dict[str, str | Promise] = {
    "percent_similarity": _("Percent similarity"),
    "taxonomic_disagreement": _("Disagreement in names, %"),
    "enumeration_difference": _("Difference in numbers, %"),
    "relative_percent_difference": _("Difference in score, % of the mean"),
    "sorting_efficiency": _("Share of the animals found at the first sorting, %"),
}
Day = tuple[UUID, date]


@dataclass(frozen=True)
class Measure:
    """One measure of a pair against its threshold."""

    label: str | Promise
    value: float
    is_accepted: bool


@dataclass(frozen=True)
class ScorePair:
    """Two scores of one index, and whether they lie within the threshold (None where no mean can be taken)."""

    method: Method
    scores: ScoreDifference
    is_accepted: bool | None


@dataclass(frozen=True)
class Pair:
    """Two visits to one site on one day."""

    first: Visit
    second: Visit
    agreement: Agreement
    measures: tuple[Measure, ...]
    scores: tuple[ScorePair, ...]


@dataclass(frozen=True)
class YearRow:
    """A measure over the pairs of a year: its median, and how many of the pairs that have it are accepted."""

    label: str | Promise
    median: float
    accepted_percent: float
    threshold: Threshold


def years_with_pairs(group: Group) -> list[int]:
    """Years in which some site was sampled twice on one day, the latest first."""
    return sorted({day.year for _site, day in _days(group)}, reverse=True)


def pairs_of(group: Group, *years: int) -> list[Pair]:
    """All pairs of visits of these years that were made at one site on one day, the latest first."""
    days = {key for key in _days(group) if key[1].year in years}
    sites, dates = {site for site, _day in days}, {day for _site, day in days}
    visits = (
        Visit.objects.of_group(group)
        .filter(was_made=True, site__in=sites, visited_on__in=dates)
        .select_related("site", "recorder", "recording_list")
        .prefetch_related("counts", "recording_list__taxa")
        .order_by("submitted_at", "pk")
    )
    by_day: dict[Day, list[Visit]] = defaultdict(list)
    for visit in visits:
        by_day[visit.site_id, visit.visited_on].append(visit)
    latest_first = sorted(days, key=lambda key: (key[1], str(key[0])), reverse=True)
    return [_pair(*two) for key in latest_first for two in combinations(by_day[key], 2)]


def _days(group: Group) -> list[Day]:
    """Site and day of every day with more than one visit made."""
    made = Visit.objects.of_group(group).filter(was_made=True).order_by()
    twice = made.values("site_id", "visited_on").annotate(number=Count("pk")).filter(number__gt=1)
    return [(row["site_id"], row["visited_on"]) for row in twice]


def _pair(first: Visit, second: Visit) -> Pair:
    found = compare_counts(counts_of(first, first.counts.all()), counts_of(second, second.counts.all()))
    measures = tuple(
        Measure(MEASURES[name], value, THRESHOLDS[name].accepts(value))
        for name, value in found.measures.items()
    )
    return Pair(first, second, found, measures, tuple(_scores(found, _comparable(first, second))))


def _comparable(first: Visit, second: Visit) -> Sequence[str]:
    """What the pages lead with, as far as both lists support it."""
    offered = [set(leading_indices(reasons_of(each.recording_list))) for each in (first, second)]
    return [index for index in METHODS if all(index in each for each in offered)]


def _scores(found: Agreement, indices: Iterable[str]) -> Iterable[ScorePair]:
    threshold = THRESHOLDS["relative_percent_difference"]
    for index in indices:
        if index in found.scores:
            percent = found.scores[index].percent
            is_accepted = None if percent is None else threshold.accepts(percent)
            yield ScorePair(METHODS[index], found.scores[index], is_accepted)


def year_rows(pairs: Sequence[Pair]) -> list[YearRow]:
    """The year's figures, one row a measure; empty without a pair that can be compared."""
    year: YearOfAgreement = summarise([pair.agreement for pair in pairs])
    return [
        YearRow(MEASURES[name], middle, 100 * year.accepted[name], THRESHOLDS[name])
        for name, middle in year.medians.items()
    ]


def score_medians(pairs: Sequence[Pair]) -> list[tuple[Method, float]]:
    """The median difference of each index, without its sign, over the pairs that may be compared by it."""
    year = summarise([pair.agreement for pair in pairs])
    shown = {each.method.key for pair in pairs for each in pair.scores}
    return [(METHODS[index], value) for index, value in year.score_differences.items() if index in shown]
