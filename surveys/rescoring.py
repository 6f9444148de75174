"""Scoring saved visits anew: which ones need it, and a batch of them at a time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, cast
from uuid import UUID

from django.db import transaction
from django.db.models import Count, IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from scoring.indices import METHODS, score_sample
from surveys.judging import counts_of, score_row
from surveys.models import RecordingList, TaxonCount, Visit, VisitScore
from surveys.recording_lists import reasons_of
from surveys.signals import visit_judged
from surveys.submission.types import Entry

# Key, version and value of a score, by index.
Known = tuple[int, str, float | None]
Current = Mapping[str, Known]


def visits_to_rescore(group: Group) -> GroupOwnedQuerySet[Visit]:
    """Made visits with an index that has no score by the present version of its method, by number."""
    scores = VisitScore.objects.across_groups("narrowed by the visits that ask for them")
    present = scores.filter(_is_present(), visit=OuterRef("pk"), is_current=True).order_by()
    numbers = present.values("visit").annotate(number=Count("pk")).values("number")
    known = Coalesce(Subquery(numbers, output_field=IntegerField()), 0)
    made = Visit.objects.of_group(group).filter(was_made=True)
    found: Any = made.alias(known_scores=known).filter(known_scores__lt=len(METHODS)).order_by("pk")
    return cast(GroupOwnedQuerySet[Visit], found)


def _is_present() -> Q:
    """That a score was made by its method's present version."""
    pairs = Q()
    for index, method in METHODS.items():
        pairs |= Q(index=index, version=method.version)
    return pairs


@transaction.atomic
def rescore_visits(*, person: Person | None, group: Group, visits: Collection[UUID]) -> int:
    """Score these visits of a group anew where a method has changed; return how many visits that concerned.

    Earlier scores are kept. Whoever listens hears of visits whose values changed; nobody is told again. Calling
    it twice does no harm.
    """
    # Locked, so that a correction made at the same time is scored before or after, never half.
    rows = Visit.objects.of_group(group).filter(pk__in=visits, was_made=True).order_by("pk")
    locked = list(rows.select_for_update(no_key=True))
    current = _current_scores(group, locked)
    stale = {visit.pk: _stale(current.get(visit.pk, {})) for visit in locked}
    waiting = [visit for visit in locked if stale[visit.pk]]
    lines, reasons = _lines(group, waiting), _reasons(waiting)
    fresh = [
        score_row(visit, score, reasons[visit.recording_list_id][score.index])
        for visit in waiting
        for score in score_sample(counts_of(visit, lines[visit.pk]), only=stale[visit.pk]).values()
    ]
    _replace(group, current, fresh)
    changed = _changed(current, fresh)
    if changed:
        visit_judged.send(sender=Visit, event="rescored", person=person, group=group, visits=changed)
    return len(waiting)


# Tuples instead of models: a hundred thousand visits have two million counts and as many scores.
def _current_scores(group: Group, visits: Sequence[Visit]) -> Mapping[UUID, Current]:
    found: dict[UUID, dict[str, Known]] = defaultdict(dict)
    scores = VisitScore.objects.of_group(group).filter(visit__in=visits, is_current=True)
    for key, visit, index, version, value in scores.values_list("pk", "visit_id", "index", "version", "value"):
        found[visit][index] = (key, version, value)
    return found


def _lines(group: Group, visits: Sequence[Visit]) -> Mapping[UUID, Sequence[Entry]]:
    found: dict[UUID, list[Entry]] = defaultdict(list)
    counts = TaxonCount.objects.of_group(group).filter(visit__in=visits).order_by("pk")
    columns = ("visit_id", "taxon", "recorded_as", "count", "low", "high", "whole_tray")
    for visit, *line in counts.values_list(*columns):
        found[visit].append(Entry(*line))
    return found


def _reasons(visits: Iterable[Visit]) -> dict[UUID, Mapping[str, str]]:
    """For each recording list of the visits, what it cannot support."""
    lists = RecordingList.objects.filter(pk__in={visit.recording_list_id for visit in visits})
    return {each.pk: reasons_of(each) for each in lists.prefetch_related("taxa")}


def _stale(current: Current) -> list[str]:
    """Indices without a score by the present version of their method."""
    return [
        index
        for index, method in METHODS.items()
        if index not in current or current[index][1] != method.version
    ]


def _replace(group: Group, current: Mapping[UUID, Current], fresh: Sequence[VisitScore]) -> None:
    outdated = [current[each.visit_id][each.index][0] for each in fresh if each.index in current[each.visit_id]]
    VisitScore.objects.of_group(group).filter(pk__in=outdated).update(is_current=False)
    VisitScore.objects.bulk_create(fresh, batch_size=5_000)


def _changed(current: Mapping[UUID, Current], fresh: Iterable[VisitScore]) -> list[UUID]:
    """Numbers of the visits with a value that differs from the one it replaces."""
    moved = (
        each.visit_id
        for each in fresh
        if each.index in current[each.visit_id] and current[each.visit_id][each.index][2] != each.value
    )
    return list(dict.fromkeys(moved))
