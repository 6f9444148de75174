"""Scoring visits whose counts are at hand, and keeping every index with the version of its method."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from django.utils import timezone

from portal.inserting import Gathered, insert_rows
from surveys.lists.recording import reasons_of_lists
from surveys.models import Visit, VisitScore
from surveys.scores.sets import COLUMNS, Stored, score_counted
from surveys.submission.types import Entry

# By visit the value of each index, None where there is none.
Values = Mapping[UUID, Mapping[str, float | None]]


def rescore_visit(visit: Visit, entries: Iterable[Entry]) -> None:
    """Score a visit again; the scores it had stay as history."""
    visit.scores.filter(is_current=True).update(is_current=False)
    score_visits([(visit, list(entries))])


def score_visits(counted: Sequence[tuple[Visit, Sequence[Entry]]], into: Gathered | None = None) -> Values:
    """Score the counts of visits that have no scores in force, and keep the scores.

    A visit that was not made gets none: a gap is not a clean river. An index that a visit's recording list
    cannot support has no value, and says why. `into` as for `insert_rows`.
    """
    made = [(visit, entries) for visit, entries in counted if visit.was_made]
    reasons = reasons_of_lists({each.recording_list_id for each, _entries in made})
    stored = [(Stored(each.pk, each.recording_list_id, each.fraction_sorted), rows) for each, rows in made]
    fresh = score_counted(stored, reasons)
    now = timezone.now()
    insert_rows(VisitScore, COLUMNS, [(*score, True, now) for score in fresh], into)
    values: dict[UUID, dict[str, float | None]] = {visit.pk: {} for visit, _entries in counted}
    for visit, index, _version, value, *_rest in fresh:
        values[visit][index] = value
    return values
