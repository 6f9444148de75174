"""Scores of many saved visits at once: exact counts as one table, all others visit by visit."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple, TypeVar
from uuid import UUID

import numpy as np
import numpy.typing as npt
from django.contrib.postgres.aggregates import ArrayAgg
from django.db import connection
from django.db.models.expressions import RawSQL
from django.utils import timezone
from psycopg import sql

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from scoring.explained import Explained, explain_matrix
from scoring.indices import score_sample
from surveys.judging import NO_METHOD, finest_name, read_counts
from surveys.models import TaxonCount, VisitScore
from surveys.recording_lists import reasons_by_list
from surveys.submission.types import Entry

Rows = TypeVar("Rows", bound=GroupOwnedQuerySet[Any])


class Stored(NamedTuple):
    """A saved visit to be scored: its number, its recording list, the share sorted, and the indices wanted."""

    visit: UUID
    recording_list: UUID
    fraction_sorted: str
    stale: Sequence[str] = ()


# A new score: visit, index, version, value, low, high, why there is none, names left out as JSON. Plain tuples,
# because a hundred thousand visits have a million and a half of them.
Fresh = tuple[UUID, str, str, float | None, float | None, float | None, str, str]
COLUMNS = (
    *("visit_id", "index", "version", "value", "low", "high", "why_none", "left_out"),
    *("is_current", "scored_at"),
)


class Lines(NamedTuple):
    """The lines of one visit, column by column, each taxon by the finest name that scoring knows."""

    names: Sequence[str]
    numbers: Sequence[int | None]

    @property
    def are_exact(self) -> bool:
        return None not in self.numbers


NO_LINES = Lines((), ())


def among(rows: Rows, field: str, numbers: Collection[UUID]) -> Rows:
    """The rows whose field is one of many numbers, sent as one value instead of one by one."""
    array = "{" + ",".join(map(str, numbers)) + "}"
    return rows.filter(**{f"{field}__in": RawSQL("SELECT unnest(%s::uuid[])", [array])})


def score_stored(group: Group, visits: Sequence[Stored]) -> list[Fresh]:
    """Score visits by their saved counts; what a visit's list cannot support has no value, and says why."""
    reasons = reasons_by_list(group)
    unsupported: list[Fresh] = [
        (each.visit, index, NO_METHOD, None, None, None, why_not, "[]")
        for each in visits
        for index in each.stale
        if (why_not := reasons[each.recording_list][index])
    ]
    asked = [
        each._replace(stale=[index for index in each.stale if not reasons[each.recording_list][index]])
        for each in visits
    ]
    return unsupported + _score(group, [each for each in asked if each.stale])


def _score(group: Group, visits: Sequence[Stored]) -> list[Fresh]:
    lines = _lines(group, [each.visit for each in visits if not each.fraction_sorted])
    is_exact = {visit: each.are_exact for visit, each in lines.items()}
    exact = [each for each in visits if not each.fraction_sorted and is_exact.get(each.visit, True)]
    known = {each.visit for each in exact}
    others = [each for each in visits if each.visit not in known]
    return score_exact(exact, lines) + list(score_one_by_one(group, others))


def _lines(group: Group, visits: Sequence[UUID]) -> dict[UUID, Lines]:
    counts = among(TaxonCount.objects.of_group(group), "visit", visits)
    rows = (
        counts.order_by()
        .values_list("visit_id")
        .annotate(taxa=ArrayAgg("taxon"), names=ArrayAgg("recorded_as"), numbers=ArrayAgg("count"))
    )
    return {visit: Lines(list(map(finest_name, taxa, names)), numbers) for visit, taxa, names, numbers in rows}


def score_exact(visits: Sequence[Stored], lines: Mapping[UUID, Lines]) -> list[Fresh]:
    """Score visits whose lines are exact counts of the whole tray, all as one table."""
    names, counts = _as_table([lines.get(each.visit, NO_LINES) for each in visits])
    explained = explain_matrix(names, counts)
    asked = {index for each in visits for index in each.stale}
    told = {index: list(_told(explained[index])) for index in asked}
    return [
        (each.visit, index, explained[index].version, *told[index][row])
        for row, each in enumerate(visits)
        for index in each.stale
    ]


def _told(explained: Explained) -> Iterator[tuple[float | None, None, None, str, str]]:
    """Value, lowest and highest (none for exact counts), reason and names left out, visit by visit."""
    rows = zip(explained.values.tolist(), explained.why_none, explained.left_out, strict=True)
    for value, why_none, left_out in rows:
        yield None if why_none else value, None, None, why_none, _as_json(left_out)


def _as_table(lines: Sequence[Lines]) -> tuple[list[str], npt.NDArray[np.float64]]:
    """The names of all lines, and the number of animals of each, of shape (visits, names)."""
    places: dict[str, int] = {}
    columns = [places.setdefault(name, len(places)) for each in lines for name in each.names]
    rows = np.repeat(np.arange(len(lines)), [len(each.names) for each in lines])
    numbers = np.array([number for each in lines for number in each.numbers], dtype=float)
    cells = rows * len(places) + np.array(columns, dtype=np.intp)
    sums = np.bincount(cells, weights=numbers, minlength=len(lines) * len(places))
    return list(places), sums.reshape(len(lines), len(places))


@lru_cache(maxsize=20_000)
def _as_json(names: Sequence[str]) -> str:
    return json.dumps(names)


def score_one_by_one(group: Group, visits: Sequence[Stored]) -> Iterator[Fresh]:
    """Score any visits by the plain function: ranges, shares of the tray, taxa seen and not counted."""
    found: dict[UUID, list[Entry]] = defaultdict(list)
    counts = among(TaxonCount.objects.of_group(group), "visit", [each.visit for each in visits])
    columns = ("visit_id", "taxon", "recorded_as", "count", "low", "high", "whole_tray")
    for visit, *line in counts.order_by("pk").values_list(*columns):
        found[visit].append(Entry(*line))
    for each in visits:
        counted = read_counts(found[each.visit], each.fraction_sorted)
        for index, score in score_sample(counted, only=each.stale).items():
            told = (score.version, score.value, score.low, score.high, score.why_none)
            yield each.visit, index, *told, _as_json(score.left_out)


def write_scores(fresh: Iterable[Fresh]) -> None:
    """Write the scores as those in force, by COPY."""
    copying = sql.SQL("COPY {} ({}) FROM STDIN").format(
        sql.Identifier(VisitScore._meta.db_table), sql.SQL(", ").join(map(sql.Identifier, COLUMNS))
    )
    scored_at = timezone.now().isoformat()
    with connection.cursor() as cursor, cursor.copy(copying) as copy:
        for score in fresh:
            copy.write_row((*score, "t", scored_at))
