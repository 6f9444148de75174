"""Reads what the rules need to know beside the submission, in eight queries.

Four more for a kit, one for a position.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from uuid import UUID

from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import Count, Max, Q, Value
from django.db.models.functions import Coalesce, ExtractMonth
from django.utils import timezone

from portal.accounts.models import Membership
from surveys.kits import KitState, kit_states
from surveys.models import Kit, Measurement, Site, TaxonCount, VisitScore
from surveys.models.visits import Status
from surveys.outings import rules_of
from surveys.people.pairs import Readiness
from surveys.people.queries import readiness_of
from surveys.positions import landmarks
from surveys.quantities import QUANTITIES
from surveys.recording_lists import first_index
from surveys.rules.types import Context, SiteHistory
from surveys.submission.types import Submission

# Thirty years of monthly visits; more would not move a median.
READINGS_READ = 400


def context_for(
    submission: Submission, site: Site, *, past_record: bool = False, known: Iterable[UUID] = ()
) -> Context:
    """The context of a submission to a site (given with its group).

    `known` are people who stand on the visit already: they may be named even after they left the group.
    """
    same_day, months = _visit_numbers(submission, site)
    return Context(
        site=site,
        today=timezone.localdate(),
        members=_members(submission, site, past_record) | frozenset(known),
        same_day=same_day if submission.was_made else 0,
        history=_history(submission, site, months),
        past_record=past_record,
        kit=_kit(submission, site),
        readiness=_readiness(submission, site, past_record),
        others=landmarks(site.group, site) if submission.position else (),
    )


def _readiness(submission: Submission, site: Site, past_record: bool) -> Readiness:
    # Of past records nobody knows any more who was trained, and nobody can be kept safe by saying so.
    went = [each for each in (submission.recorder, submission.partner) if each]
    if past_record or not submission.was_made:
        return Readiness()
    return readiness_of(site.group, went, submission.visited_on)


def _history(submission: Submission, site: Site, months: list[int]) -> SiteHistory:
    found = _found_before(submission, site)
    index = first_index(site.recording_list)
    return SiteHistory(
        approved_visits=len(months),
        most={taxon: most for taxon, most, _months in found},
        months={taxon: tuple(seen) for taxon, _most, seen in found},
        readings=_readings(submission, site),
        visits_by_month=Counter(months),
        score_index=index,
        scores=_scores(submission, site, index),
    )


def _kit(submission: Submission, site: Site) -> KitState | None:
    kits = list(Kit.objects.of_group(site.group).filter(pk=submission.kit)) if submission.kit else []
    if not kits:
        return None
    drying_days = rules_of(site.group).drying_days
    return kit_states(site.group, kits, submission.visited_on, drying_days, besides=submission.id)[0]


def _members(submission: Submission, site: Site, past_record: bool) -> frozenset[UUID]:
    named = [each for each in (submission.recorder, submission.partner) if each]
    found = Membership.objects.of_group(site.group).filter(user__in=named)
    # Whoever has left since may well have sampled in the past.
    found = found if past_record else found.filter(left_at=None)
    return frozenset(found.values_list("user_id", flat=True)) if named else frozenset()


def _visit_numbers(submission: Submission, site: Site) -> tuple[int, list[int]]:
    """Other visits of the same day, and the months (1-12) of all approved ones."""
    # A day on which the visit could not be made may well be tried again.
    others = site.visits.filter(was_made=True).exclude(pk=submission.id)
    numbers = others.aggregate(
        same_day=Count("pk", filter=Q(visited_on=submission.visited_on)),
        months=ArrayAgg(
            ExtractMonth("visited_on"), filter=Q(status=Status.APPROVED), default=Value([]), order_by="pk"
        ),
    )
    return numbers["same_day"], numbers["months"]


def _found_before(submission: Submission, site: Site) -> list[tuple[str, int, list[int]]]:
    """For each taxon ever found here the most of it, and the month of every find."""
    # Approved visits only: a slip that still waits must not excuse the next one.
    approved = TaxonCount.objects.of_group(site.group).filter(visit__site=site, visit__status=Status.APPROVED)
    # A taxon seen and not counted is known here, though no number is.
    found = approved.exclude(visit=submission.id).exclude(count=0)
    rows = found.values("taxon").annotate(
        most=Max(Coalesce("count", "high", "low", 0)), seen=ArrayAgg(ExtractMonth("visit__visited_on"))
    )
    return list(rows.order_by().values_list("taxon", "most", "seen"))


def _scores(submission: Submission, site: Site, index: str) -> tuple[float, ...]:
    if not (submission.was_made and submission.counts):
        return ()
    scores = VisitScore.objects.of_group(site.group).filter(visit__site=site, visit__status=Status.APPROVED)
    current = scores.filter(index=index, is_current=True, value__isnull=False).exclude(visit=submission.id)
    newest = current.order_by("-visit__visited_on").values_list("value", flat=True)[:READINGS_READ]
    return tuple(value for value in newest if value is not None)


def _readings(submission: Submission, site: Site) -> dict[str, tuple[float, ...]]:
    wanted = [each.quantity for each in submission.measurements]
    # Waiting visits count here: with readings the sheer number matters, and medians bear a slip.
    rows = (
        Measurement.objects.of_group(site.group)
        .filter(visit__site=site, quantity__in=wanted, is_below_limit=False)
        .exclude(visit__status=Status.RETURNED)
        .exclude(visit=submission.id)
        .order_by("-visit__visited_on")
        .values_list("quantity", "value", "unit")[:READINGS_READ]
    )
    found: dict[str, list[float]] = defaultdict(list)
    for key, value, unit in rows if wanted else ():
        quantity = QUANTITIES.get(key)
        if quantity:
            found[key].append(float(quantity.in_first_unit(value, unit)))
    return {key: tuple(values) for key, values in found.items()}
