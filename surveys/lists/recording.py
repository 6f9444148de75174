"""Reading recording lists: which are in use, and which indices each supports."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.db.models import Count, Q, QuerySet

from portal.accounts.models import Group
from portal.accounts.prepared import prepared
from scoring.indices import METHODS, Method
from scoring.recording_lists import supported_indices
from surveys.models import ListTaxon, RecordingList, Site

# What a page leads with where a list supports it, in this order.
LEADING = ("bmwp", "ntaxa", "aspt", "ept_families", "shannon", "simpson")
# What lists support, by their ids: a list never changes once it is written.
MOST_KNOWN = 2_000
_known: dict[UUID, Mapping[str, str]] = {}


@dataclass(frozen=True)
class Support:
    """One index, and why a list cannot support it (empty where it can)."""

    method: Method
    why_not: str


def lists_of(group: Group) -> QuerySet[RecordingList]:
    """Every version of every list that the group may read: built in or its own."""
    return RecordingList.objects.filter(Q(group=None) | Q(group=group))


def lists_in_use(group: Group) -> QuerySet[RecordingList]:
    """The lists that a site may be given: built in or the group's own, in their present versions."""
    return lists_of(group).filter(retired_at=None).order_by("group", "name", "version")


def listed_with_numbers(group: Group) -> QuerySet[RecordingList]:
    """The same with `taxa_count`, the group's own last, the built-in ones in alphabetical order."""
    return lists_in_use(group).annotate(taxa_count=Count("taxa")).order_by("group_id", "name")


def versions_of(recording_list: RecordingList) -> QuerySet[RecordingList]:
    """All versions of a list, the newest first."""
    same = RecordingList.objects.filter(group=recording_list.group_id, slug=recording_list.slug)
    return same.order_by("-version")


def sites_with(recording_list: RecordingList, group: Group) -> QuerySet[Site]:
    """The group's sites that are recorded on this version."""
    return Site.objects.of_group(group).filter(recording_list=recording_list)


def open_sites_with(recording_list: RecordingList, group: Group, today: date) -> QuerySet[Site]:
    """Those of them that are not closed: they need a list that is in use."""
    return sites_with(recording_list, group).filter(Q(closed_on=None) | Q(closed_on__gte=today))


def retired_lists(group: Group) -> QuerySet[RecordingList]:
    """The newest version of each list of the group's own that is out of use altogether."""
    newest = RecordingList.objects.filter(group=group).order_by("slug", "-version").distinct("slug")
    return RecordingList.objects.filter(pk__in=newest, retired_at__isnull=False).order_by("name")


def taxa_of(recording_list: RecordingList) -> list[ListTaxon]:
    """The lines of a list in their order; no query where the page has read them."""
    kept = getattr(recording_list, "_prefetched_objects_cache", {})
    return list(recording_list.taxa.all()) if "taxa" in kept else _taxa(recording_list.pk)


@prepared
def _taxa(number: UUID) -> QuerySet[ListTaxon]:
    return ListTaxon.objects.filter(recording_list=number)


def reasons_of(recording_list: RecordingList) -> Mapping[str, str]:
    """For each index "" or why the list cannot support it; reads the list's taxa."""
    return reasons_for(tuple(each.taxon for each in recording_list.taxa.all()))


def reasons_by_list(group: Group) -> dict[UUID, Mapping[str, str]]:
    """The same for every version of every list that the group may read (one query)."""
    taxa: dict[UUID, list[str]] = {}
    lines = lists_of(group).order_by("pk", "taxa__position").values_list("pk", "taxa__taxon")
    for key, taxon in lines:
        taxa.setdefault(key, []).extend([taxon] if taxon else [])
    return {key: reasons_for(tuple(names)) for key, names in taxa.items()}


def reasons_of_lists(lists: Iterable[UUID]) -> dict[UUID, Mapping[str, str]]:
    """The same of these lists, by their id (one query, or none for lists that this process has read before)."""
    found = {each: _known.get(each) for each in lists}
    unread = [each for each, reasons in found.items() if reasons is None]
    read = _read_reasons(unread) if unread else {}
    return {each: reasons if reasons is not None else read[each] for each, reasons in found.items()}


def _read_reasons(lists: Sequence[UUID]) -> dict[UUID, Mapping[str, str]]:
    taxa: dict[UUID, list[str]] = {each: [] for each in lists}
    for list_id, taxon in _taxa_of(tuple(sorted(lists))):
        taxa[list_id].append(taxon)
    read = {each: reasons_for(tuple(names)) for each, names in taxa.items()}
    if len(_known) > MOST_KNOWN:
        _known.clear()
    # One without lines may be one that is only being written, or that this reader is not given.
    _known.update((each, reasons) for each, reasons in read.items() if taxa[each])
    return read


@prepared
def _taxa_of(lists: tuple[UUID, ...]) -> QuerySet[Any, Any]:
    rows = ListTaxon.objects.filter(recording_list__in=lists).order_by("position")
    return rows.values_list("recording_list_id", "taxon")


@lru_cache(maxsize=200)
def reasons_for(taxa: Sequence[str]) -> Mapping[str, str]:
    """The same for a tuple of names: a list never changes, so what it supports is worked out once."""
    return supported_indices(taxa)


def support_of(recording_list: RecordingList) -> tuple[list[Support], list[Support]]:
    """The indices that a list supports, and those it does not, in the order of the methods."""
    reasons = reasons_of(recording_list)
    lines = [Support(method, reasons[index]) for index, method in METHODS.items()]
    return [each for each in lines if not each.why_not], [each for each in lines if each.why_not]


def leading_indices(reasons: Mapping[str, str]) -> tuple[str, ...]:
    """What a page leads with: the usual indices, or the first few that the list supports."""
    usual = tuple(index for index in LEADING if not reasons[index])
    others = tuple(index for index in METHODS if not reasons[index])
    return usual if "bmwp" in usual else others[: len(LEADING)]


def first_index(recording_list: RecordingList) -> str:
    """The index that stands for a list where one is drawn; BMWP for the built-in families, without a query."""
    if recording_list.group_id is None and recording_list.level == RecordingList.Level.FAMILY:
        return "bmwp"
    return next(iter(leading_indices(reasons_of(recording_list))), "bmwp")
