"""Scores of many saved visits at once: exact counts as one table, all others visit by visit."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple, TypeVar
from uuid import UUID

import numpy as np
import numpy.typing as npt
from django.contrib.postgres.aggregates import ArrayAgg
from django.db import connection
from django.db.models import Value
from django.db.models.expressions import RawSQL
from django.db.models.functions import Concat
from django.utils import timezone
from psycopg import sql

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from scoring.explained import Explained, explain_matrix
from scoring.indices import METHODS, score_sample
from surveys.lists.recording import reasons_by_list
from surveys.models import TaxonCount, VisitScore
from surveys.scores.judging import NO_METHOD, finest_name, read_counts
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


class Lines(NamedTuple):
    """The lines of one visit: taxon and name as recorded, joined by `JOINT`, and number of animals if exact."""

    names: Sequence[str]
    numbers: Sequence[int | None]


class Columns(dict[str, int]):
    """The column of each line's name; lines that are scored by one name share a column."""

    def __init__(self) -> None:
        self.names: dict[str, int] = {}

    def __missing__(self, line: str) -> int:
        taxon, _, recorded_as = line.partition(JOINT)
        column = self.names.setdefault(finest_name(taxon, recorded_as), len(self.names))
        self[line] = column
        return column


# No known taxon has a control character in its name.
JOINT = "\x1f"
# Fewer visits than this are scored one by one in less time than it takes to lay out a table.
AS_TABLE = 8
ORDER = {index: place for place, index in enumerate(METHODS)}
NO_LINES = Lines((), ())
COLUMNS = (
    *("visit_id", "index", "version", "value", "low", "high", "why_none", "left_out"),
    *("is_current", "scored_at"),
)
FRESH_TABLE = "CREATE TEMPORARY TABLE fresh_scores AS SELECT {columns} FROM {scores} WITH NO DATA"
TAKEN_OVER = "INSERT INTO {scores} ({columns}) SELECT {columns} FROM pg_temp.fresh_scores"


def among(rows: Rows, field: str, numbers: Iterable[UUID | int], *, of_integers: bool = False) -> Rows:
    """The rows whose field is one of many numbers, sent as one value instead of one by one."""
    array = ["{" + ",".join(map(str, numbers)) + "}"]
    uuids = RawSQL("SELECT unnest(%s::uuid[])", array)
    integers = RawSQL("SELECT unnest(%s::bigint[])", array)
    return rows.filter(**{f"{field}__in": integers if of_integers else uuids})


def score_stored(group: Group, visits: Sequence[Stored]) -> list[Fresh]:
    """Score visits by their saved counts; what a visit's list cannot support has no value, and says why."""
    reasons = reasons_by_list(group)
    asked = [_supported(each, reasons[each.recording_list]) for each in visits]
    return _unsupported(visits, reasons) + _score(group, [each for each in asked if each.stale])


def score_counted(
    counted: Sequence[tuple[Stored, Sequence[Entry]]], reasons: Mapping[UUID, Mapping[str, str]]
) -> list[Fresh]:
    """The same of every index for visits whose counts are at hand, in the order of visits and methods.

    `reasons` are those of each recording list.
    """
    asked = [(each._replace(stale=tuple(METHODS)), entries) for each, entries in counted]
    fresh = _unsupported([each for each, _entries in asked], reasons)
    exact: list[tuple[Stored, Lines]] = []
    for each, entries in asked:
        visit = _supported(each, reasons[each.recording_list])
        if len(counted) >= AS_TABLE and not visit.fraction_sorted and _are_exact(entries):
            exact.append((visit, _lines_of(entries)))
        else:
            fresh += _score_plainly(visit, entries)
    fresh += score_exact(exact) if exact else []
    places = {visit.visit: place for place, (visit, _entries) in enumerate(counted)}
    return sorted(fresh, key=lambda score: (places[score[0]], ORDER[score[1]]))


def _are_exact(entries: Iterable[Entry]) -> bool:
    return all(each.count is not None for each in entries)


def _lines_of(entries: Sequence[Entry]) -> Lines:
    names = [f"{each.taxon}{JOINT}{each.recorded_as}" for each in entries]
    return Lines(names, [each.count for each in entries])


def _unsupported(visits: Iterable[Stored], reasons: Mapping[UUID, Mapping[str, str]]) -> list[Fresh]:
    # What nobody was asked to look for must not be read as missing: such an index has no value, and since no
    # method was applied it has no version either, so that a list's say is told from a method's.
    return [
        (each.visit, index, NO_METHOD, None, None, None, why_not, "[]")
        for each in visits
        for index in each.stale
        if (why_not := reasons[each.recording_list][index])
    ]


def _supported(visit: Stored, reasons: Mapping[str, str]) -> Stored:
    stale = [index for index in visit.stale if not reasons[index]]
    return visit if len(stale) == len(visit.stale) else visit._replace(stale=stale)


def _score(group: Group, visits: Sequence[Stored]) -> list[Fresh]:
    lines = _lines(group, [each.visit for each in visits if not each.fraction_sorted])
    exact, others = [], []
    for each in visits:
        tray = lines.get(each.visit, NO_LINES)
        if each.fraction_sorted or None in tray.numbers:
            others.append(each)
        else:
            exact.append((each, tray))
    return score_exact(exact) + list(score_one_by_one(group, others))


def _lines(group: Group, visits: Iterable[UUID]) -> dict[UUID, Lines]:
    counts = among(TaxonCount.objects.of_group(group), "visit", visits).order_by().values_list("visit_id")
    # One text a line: reading them is most of what is left to do here.
    name = Concat("taxon", Value(JOINT), "recorded_as")
    rows = counts.annotate(names=ArrayAgg(name), numbers=ArrayAgg("count"))
    return {visit: Lines(names, numbers) for visit, names, numbers in rows}


def score_exact(trays: Sequence[tuple[Stored, Lines]]) -> list[Fresh]:
    """Score visits whose lines are exact counts of the whole tray, all as one table."""
    explained = explain_matrix(*_as_table([lines for _, lines in trays]))
    asked = {index for visit, _ in trays for index in visit.stale}
    told = {index: list(_told(explained[index])) for index in asked}
    return [
        (visit.visit, index, explained[index].version, *told[index][row])
        for row, (visit, _) in enumerate(trays)
        for index in visit.stale
    ]


def _told(explained: Explained) -> Iterator[tuple[float | None, None, None, str, str]]:
    """Value, lowest and highest (none for exact counts), reason and names left out, visit by visit."""
    rows = zip(explained.values.tolist(), explained.why_none, explained.left_out, strict=True)
    for value, why_none, left_out in rows:
        yield None if why_none else value, None, None, why_none, _as_json(left_out)


def _as_table(trays: Sequence[Lines]) -> tuple[list[str], npt.NDArray[np.float64]]:
    """The names of all lines, and the number of animals of each, of shape (visits, names)."""
    columns = Columns()
    places = np.array([columns[name] for lines in trays for name in lines.names], dtype=np.intp)
    rows = np.repeat(np.arange(len(trays)), [len(lines.names) for lines in trays])
    numbers = np.array([number for lines in trays for number in lines.numbers], dtype=float)
    width = len(columns.names)
    sums = np.bincount(rows * width + places, weights=numbers, minlength=len(trays) * width).astype(float)
    return list(columns.names), sums.reshape(len(trays), width)


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
        yield from _score_plainly(each, found[each.visit])


def _score_plainly(visit: Stored, entries: Iterable[Entry]) -> Iterator[Fresh]:
    counted = read_counts(entries, visit.fraction_sorted)
    for index, score in score_sample(counted, only=visit.stale).items():
        told = (score.version, score.value, score.low, score.high, score.why_none)
        yield visit.visit, index, *told, _as_json(score.left_out)


def write_scores(fresh: Iterable[Fresh]) -> None:
    """Write the scores as those in force, by COPY; call it inside a transaction.

    By way of a table of this transaction's own: into one with policies PostgreSQL lets nobody COPY.
    """
    names = {
        "scores": sql.Identifier(VisitScore._meta.db_table),
        "columns": sql.SQL(", ").join(map(sql.Identifier, COLUMNS)),
    }
    scored_at = timezone.now().isoformat()
    with connection.cursor() as cursor:
        cursor.execute(sql.SQL(FRESH_TABLE).format(**names))
        with cursor.copy(sql.SQL("COPY pg_temp.fresh_scores ({columns}) FROM STDIN").format(**names)) as copy:
            for score in fresh:
                copy.write_row((*score, "t", scored_at))
        cursor.execute(sql.SQL(TAKEN_OVER).format(**names))
        cursor.execute("DROP TABLE pg_temp.fresh_scores")
