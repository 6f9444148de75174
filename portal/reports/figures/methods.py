"""How it was done: the effort, the lists and the indices, each with its version and source."""

from __future__ import annotations

from typing import Any

from portal.reports.figures.records import YearRecords
from scoring.indices import METHODS
from surveys.models import Site
from surveys.texts.told import told


def describe_methods(records: YearRecords) -> dict[str, Any]:
    """Standard efforts, recording lists with their versions, and the indices that the pages show."""
    lists = {visit.recording_list for visit in records.made}
    return {
        "efforts": _efforts(records),
        "lists": sorted(f"{each.name} ({each.version})" for each in lists),
        "indices": [_describe_index(index, records) for index in _indices_shown(records)],
    }


def _efforts(records: YearRecords) -> list[dict[str, Any]]:
    by_effort: dict[tuple[int, int, int], list[str]] = {}
    for site in records.sites:
        by_effort.setdefault(_effort(site), []).append(site.code)
    return [
        {"spots": spots, "kicks": kicks, "seconds": seconds, "total": spots * kicks * seconds, "sites": codes}
        for (spots, kicks, seconds), codes in sorted(by_effort.items())
    ]


def _effort(site: Site) -> tuple[int, int, int]:
    return site.spots, site.kicks_per_spot, site.seconds_per_kick


def _indices_shown(records: YearRecords) -> list[str]:
    """What the sites' tables show; a site's trigger may stand on another index, which is told too."""
    begun = {each.index for each in records.triggers if each.valid_from <= records.last_day}
    shown = {index for indices in records.leading.values() for index in indices}
    return [index for index in METHODS if index in begun | shown]


def _describe_index(index: str, records: YearRecords) -> dict[str, Any]:
    """The method as published, and the versions by which this year's visits were really scored."""
    method = METHODS[index]
    scores = [score for visit in records.made for score in visit.current_scores]  # type: ignore[attr-defined]
    used = {score.version for score in scores if score.index == index}
    return {
        "index": index,
        "name": told(method.name),
        "title": told(method.title),
        "source": told(method.source),
        "limits": told(method.limits),
        "verified": told(method.verified),
        "versions": sorted(used) or [method.version],
        "decimals": method.decimals,
    }
