"""Scoring saved visits anew: which ones need it, and a batch of them at a time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import starmap
from typing import Any, NamedTuple, cast
from uuid import UUID

from django.contrib.postgres.aggregates import ArrayAgg
from django.db import transaction
from django.db.models import Count, IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.services import record_change
from scoring.indices import METHODS
from surveys.lists.recording import reasons_by_list
from surveys.models import Visit, VisitScore
from surveys.scores.judging import NO_METHOD
from surveys.scores.sets import Stored, among, score_stored, write_scores
from surveys.signals import visit_judged


class Standing(NamedTuple):
    """The scores in force of one visit: indices that are up to date, and the numbers of those that are not."""

    present: Sequence[str]
    outdated: Sequence[int]


NOTHING = Standing((), ())


def visits_to_rescore(group: Group) -> GroupOwnedQuerySet[Visit]:
    """Made visits without a score of each index as present methods and their own list have it, by number."""
    scores = VisitScore.objects.across_groups("narrowed by the visits that ask for them")
    present = scores.filter(_is_present(group), visit=OuterRef("pk"), is_current=True).order_by()
    numbers = present.values("visit").annotate(number=Count("pk")).values("number")
    known = Coalesce(Subquery(numbers, output_field=IntegerField()), 0)
    made = Visit.objects.of_group(group).filter(was_made=True)
    found: Any = made.alias(known_scores=known).filter(known_scores__lt=len(METHODS)).order_by("pk")
    return cast(GroupOwnedQuerySet[Visit], found)


def _is_present(group: Group) -> Q:
    """That a score is what the present methods, and the list of its visit, make of it."""
    lists: dict[tuple[str, ...], list[UUID]] = defaultdict(list)
    for recording_list, reasons in reasons_by_list(group).items():
        lists[tuple(reasons[index] for index in METHODS)].append(recording_list)
    found = Q(pk__in=[])
    for same, keys in lists.items():
        found |= Q(visit__recording_list__in=keys) & _made_as(dict(zip(METHODS, same, strict=True)))
    return found


def _made_as(reasons: Mapping[str, str]) -> Q:
    indices: dict[tuple[str, str], list[str]] = defaultdict(list)
    for index, why_not in reasons.items():
        indices[NO_METHOD if why_not else METHODS[index].version, why_not].append(index)
    found = Q(pk__in=[])
    for (version, why_not), same in indices.items():
        # By its words as well: what a list supports may change with the tables, and has no version.
        words = {"why_none": why_not} if why_not else {}
        found |= Q(index__in=same, version=version, **words)
    return found


@transaction.atomic
def rescore_visits(*, person: Person | None, group: Group, visits: Collection[UUID]) -> int:
    """Score these visits of a group anew where something has changed; return how many visits that concerned.

    Earlier scores are kept. Whoever listens hears of the visits, once for all of them; nobody is told again.
    Calling it twice does no harm.
    """
    locked = _lock(group, visits)
    standing = _standing(group, [each.visit for each in locked])
    stale = _stale(locked, standing)
    if not stale:
        return 0
    numbers = [each.visit for each in stale]
    # Read and worked out before the writing starts: one connection does one thing at a time.
    fresh = score_stored(group, stale)
    _retire([number for each in standing.values() for number in each.outdated])
    write_scores(fresh)
    # In the transaction that writes them: scores without an entry would look like somebody's own.
    record_change(actor=person, verb="visits.rescored", thing=group, changes={"visits": [None, len(stale)]})
    visit_judged.send(sender=Visit, event="rescored", person=person, group=group, visits=numbers)
    return len(stale)


def _lock(group: Group, visits: Collection[UUID]) -> list[Stored]:
    """The visits, held until the transaction ends, in the order of their numbers."""
    # Locked, so that a correction made at the same time is scored before or after, never half.
    rows = among(Visit.objects.of_group(group), "pk", visits).filter(was_made=True).order_by("pk")
    columns = ("pk", "recording_list_id", "fraction_sorted")
    return list(starmap(Stored, rows.select_for_update(no_key=True).values_list(*columns)))


# Sets instead of models: a hundred thousand visits have two million counts and nearly as many scores.
def _standing(group: Group, visits: Collection[UUID]) -> dict[UUID, Standing]:
    scores = VisitScore.objects.of_group(group).filter(is_current=True, index__in=METHODS)
    # Told apart in the sums, not by a condition: PostgreSQL cannot guess how many rows that would leave, and
    # would read the batch once for every visit.
    present = _is_present(group)
    sums = (
        among(scores, "visit", visits)
        .order_by()
        .values_list("visit_id")
        .annotate(
            present=ArrayAgg("index", filter=present, default=[]),
            outdated=ArrayAgg("pk", filter=~present, default=[]),
        )
    )
    return {visit: Standing(indices, numbers) for visit, indices, numbers in sums}


def _stale(visits: Iterable[Stored], standing: Mapping[UUID, Standing]) -> list[Stored]:
    """The visits with an index that is not up to date, each with these."""
    found = []
    for each in visits:
        known = standing.get(each.visit, NOTHING).present
        if len(known) < len(METHODS):
            found.append(each._replace(stale=[index for index in METHODS if index not in known]))
    return found


def _retire(numbers: Sequence[int]) -> None:
    scores = VisitScore.objects.across_groups("by their own numbers, read in the same transaction")
    among(scores, "pk", numbers, of_integers=True).update(is_current=False)
