"""Groups of one catchment that show each other their approved results: founding, joining, leaving, reading."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from statistics import median, quantiles
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import OuterRef, Subquery
from django.db.models.functions import JSONObject
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.audit.versions import with_version
from portal.charts.courses import order_downstream
from portal.public.models import Catchment, CatchmentShare
from portal.public.results import Result, approved_of
from scoring.indices import METHODS
from surveys.errors import NotPossible
from surveys.exporting.models import PublishingTerms
from surveys.models import Site, VisitScore
from surveys.models.codes import by_code
from surveys.models.visits import Status

SHARE = "catchment.share"
# What is usual rests on the last years: common practice, no source.
USUAL_SPAN = timedelta(days=3 * 365)
# Quartiles of fewer scores say more of chance than of the site (likewise).
LEAST_FOR_SPREAD = 4


@dataclass(frozen=True)
class Station:
    """A site of a catchment with what is usual there by one index: median and middle half of `number` scores.

    `latest` is the newest score by that index, and `result` how the site stood by its own trigger.
    """

    result: Result
    group: Group
    latest: float | None
    typical: float | None
    low: float | None
    high: float | None
    number: int
    into: int | None


@transaction.atomic
def found_catchment(*, person: Person, group: Group, name: str) -> CatchmentShare:
    """Name a catchment and be its first group."""
    require(person, SHARE, group)
    catchment = Catchment.objects.create(name=name, founded_by=group)
    return _share(person, catchment, group)


@transaction.atomic
def join_catchment(*, person: Person, group: Group, word: str) -> CatchmentShare:
    """Share in the catchment of that word, which a coordinator of one of its groups has handed over.

    Raises NotPossible for a word that opens nothing, and where the group shares already.
    """
    require(person, SHARE, group)
    catchment = Catchment.objects.filter(word=word.strip()).first()
    if catchment is None:
        raise NotPossible(_("No catchment has this word. Ask the coordinator who gave it to you."), "word")
    try:
        with transaction.atomic():
            return _share(person, catchment, group)
    except IntegrityError as twice:
        raise NotPossible(_("Your group shares in this catchment already."), "word") from twice


@transaction.atomic
def set_next_site(*, person: Person, share: CatchmentShare, site: Site | None) -> None:
    """Say to which site of another group the water of this group comes next."""
    require(person, SHARE, share)
    before, share.next_site = share.next_site, site
    share.save(update_fields=["next_site"])
    changes = {"next_site": [str(before or ""), str(site or "")]}
    record_change(actor=person, verb="catchment.linked", thing=share, changes=changes)


@transaction.atomic
@wide("those who stay have their links to this group cut")
def leave_catchment(*, person: Person, share: CatchmentShare) -> None:
    """Share no longer, from this moment; a catchment without any group is gone, and so is its word.

    Nobody may go on by a word they learned here: whoever stays has a new one to hand out.
    """
    require(person, SHARE, share)
    catchment = share.catchment
    others = CatchmentShare.objects.across_groups("who stays in the catchment").filter(catchment=catchment)
    others.filter(next_site__group=share.group_id).update(next_site=None)
    record_change(actor=person, verb="catchment.left", thing=share, changes={"catchment": [catchment.name, ""]})
    share.delete()
    if others.exists():
        catchment.word = Catchment._meta.get_field("word").get_default()
        catchment.save(update_fields=["word"])
    else:
        catchment.delete()


def _share(person: Person, catchment: Catchment, group: Group) -> CatchmentShare:
    share = CatchmentShare.objects.create(catchment=catchment, group=group)
    record_change(
        actor=person, verb="catchment.shared", thing=share, changes={"catchment": ["", catchment.name]}
    )
    return share


def shares_of(group: Group) -> GroupOwnedQuerySet[CatchmentShare]:
    """The catchments in which a group shares."""
    return CatchmentShare.objects.of_group(group).select_related("catchment").order_by("catchment__name")


@wide("the groups of one catchment show each other their results")
def sharing_in(catchment_id: UUID) -> list[CatchmentShare]:
    """Every group that shares in a catchment, each with its version and terms (one query)."""
    shares = CatchmentShare.objects.across_groups("the groups of one catchment show each other their results")
    terms = PublishingTerms.objects.across_groups("of the groups that share").filter(group=OuterRef("group_id"))
    packed = terms.values(json=JSONObject(blur="blur"))[:1]
    rows = with_version(shares.filter(catchment=catchment_id), "group_id").annotate(packed=Subquery(packed))
    found: list[Any] = list(rows.select_related("group", "catchment").order_by("group__name"))
    for share in found:
        share.group.changed_at, share.group.changes = share.changed_at, share.changes
    return found


def require_reader(person: Person, shares: Sequence[CatchmentShare]) -> None:
    """Let everybody through where all of its groups publish, else only their members; others get Http404."""
    if not shares:
        raise Http404
    if all(share.group.is_public for share in shares):
        return
    own = [share for share in shares if person.belongs_to(share.group_id)]
    if not own:
        raise Http404
    require(person, "group.view", next((each for each in own if person.is_member(each.group_id)), own[0]))


def sites_below(share: CatchmentShare) -> GroupOwnedQuerySet[Site]:
    """The sites of the other groups of a catchment, to which a group's water may come."""
    others = CatchmentShare.objects.across_groups("the groups of one catchment show each other their sites")
    groups = others.filter(catchment=share.catchment_id).exclude(group=share.group_id).values("group")
    sites = Site.objects.across_groups("of the other groups of the catchment")
    return sites.filter(group__in=groups).select_related("group").order_by("group__name", *by_code())


def terms_by_group(shares: Sequence[CatchmentShare]) -> Mapping[UUID, PublishingTerms]:
    """How exactly each group tells its places."""
    packed: Mapping[UUID, Any] = {share.group_id: share.packed or {} for share in shares}  # type: ignore[attr-defined]
    return {share.group_id: PublishingTerms(group=share.group, **packed[share.group_id]) for share in shares}


def stations_of(shares: Sequence[CatchmentShare], index: str = "") -> tuple[str, list[str], list[Station]]:
    """The index shown, those that can be chosen, and all sites in the order of the water (two queries).

    Without a wish for one, it is the index by which most sites have scores.
    """
    groups = {share.group_id: share.group for share in shares}
    results = {str(each.site.pk): each for each in approved_of(list(groups.values()), by_lists=False)}
    scores = _scores(list(groups.values()))
    choice = [key for key in METHODS if scores[key]]
    shown = index if index in choice else max(choice, key=lambda key: len(scores[key]), default="")
    lower = _lower(results.values(), shares)
    order = order_downstream(lower)
    rows = {key: row for row, key in enumerate(order)}
    return (
        shown,
        choice,
        [
            _station(
                results[key], groups, scores[shown].get(results[key].site.pk, []), _later(rows, key, lower)
            )
            for key in order
        ],
    )


def _later(rows: Mapping[str, int], key: str, lower: Mapping[str, str]) -> int | None:
    """The row of the next site downstream; none where somebody has let the water run in a ring."""
    below = rows.get(lower[key])
    return below if below is not None and below > rows[key] else None


def _lower(results: Any, shares: Sequence[CatchmentShare]) -> dict[str, str]:
    """The next site of each; where a group's own sites end, the one of another group that it named."""
    beyond = {share.group_id: str(share.next_site_id or "") for share in shares}
    return {str(each.site.pk): str(each.site.downstream_id or beyond[each.site.group_id]) for each in results}


def _scores(groups: Sequence[Group]) -> dict[str, dict[UUID, list[float]]]:
    """Scores of approved visits of the last years, oldest first, by index and site (one query)."""
    rows = VisitScore.objects.across_groups("of the groups that share").filter(
        is_current=True,
        value__isnull=False,
        visit__group__in=groups,
        visit__status=Status.APPROVED,
        visit__visited_on__gte=timezone.localdate() - USUAL_SPAN,
    )
    found: dict[str, dict[UUID, list[float]]] = defaultdict(lambda: defaultdict(list))
    ordered = rows.order_by("visit__visited_on", "visit__submitted_at")
    for index, site, value in ordered.values_list("index", "visit__site", "value"):
        if value is not None:
            found[index][site].append(value)
    return found


def _station(
    result: Result, groups: Mapping[UUID, Group], scores: Sequence[float], into: int | None
) -> Station:
    low, _middle, high = quantiles(scores, n=4) if len(scores) >= LEAST_FOR_SPREAD else (None, None, None)
    return Station(
        result=result,
        group=groups[result.site.group_id],
        latest=scores[-1] if scores else None,
        typical=median(scores) if scores else None,
        low=low,
        high=high,
        number=len(scores),
        into=into,
    )
