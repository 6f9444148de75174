"""Marks: for each group, site or visit a word that changes whenever what is recorded of it does.

They are read from the audit trail, in which every change of state stands. A mark may change without need; it
must never stay while what pages show of its subject changes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Count, F, Max, Window
from django.db.models.functions import RowNumber

from portal.accounts.access import Person
from portal.audit.models import AuditEntry
from surveys.models import Visit, VisitScore

Marks = Mapping[UUID, str]
# What changes records of single visits or the desk's own work, and no page of the bank with them.
UNSEEN = (
    "surveys.site",
    "surveys.visit",
    "surveys.draft",
    "surveys.photo",
    "surveys.finding",
    "surveys.importrun",
    "surveys.importmapping",
    "surveys.rescorerun",
    "jobs.job",
    "surveys.safereturn",
    "alerts.incident",
    "reports.yearlyreport",
    "accounts.invitation",
)


def group_marks(person: Person) -> Marks:
    """By group: its people, lists, triggers and all else that pages show beside sites and visits."""
    seen = AuditEntry.objects.visible_to(person).exclude(object_type__in=UNSEEN)
    return _marks(seen.values_list("group").annotate(Max("at"), Count("pk")).order_by())


def site_marks(person: Person) -> Marks:
    """By site: its own record."""
    seen = AuditEntry.objects.visible_to(person).filter(object_type="surveys.site")
    return _marks(seen.values_list("object_id").annotate(Max("at"), Count("pk")).order_by())


def result_marks(person: Person, sites: Iterable[UUID], newest: int) -> Marks:
    """By site: its `newest` visits, how they stand, whatever was done to them, and when they were scored."""
    rows = _newest_visits(person, sites, newest)
    numbers = [number for _site, number, *_rest in rows]
    changes, scored = _changes(person, numbers), _scored(numbers)
    found = defaultdict(list)
    for site, number, *rest in rows:
        found[site].append(f"{number} {rest} {changes.get(number)} {scored.get(number)}")
    return {site: " ".join(sorted(words)) for site, words in found.items()}


def kit_marks(person: Person, today: date) -> Marks:
    """By group: where its kits were last; it changes daily too, as kit dries."""
    used = Visit.objects.visible_to(person).exclude(kit=None).values_list("group")
    rows = used.annotate(Max("submitted_at"), Count("pk")).order_by()
    return _marks((*row, today) for row in rows)


def _newest_visits(person: Person, sites: Iterable[UUID], newest: int) -> list[tuple[Any, ...]]:
    latest_first = (F("visited_on").desc(), F("submitted_at").desc())
    place = Window(RowNumber(), partition_by="site", order_by=latest_first)
    ranked = Visit.objects.visible_to(person).filter(site__in=list(sites)).annotate(place=place)
    rows = ranked.filter(place__lte=newest).order_by()
    return list(rows.values_list("site", "pk", "status"))


def _changes(person: Person, visits: list[UUID]) -> Marks:
    seen = AuditEntry.objects.visible_to(person).filter(object_type="surveys.visit", object_id__in=visits)
    return _marks(seen.values_list("object_id").annotate(Max("at"), Count("pk")).order_by())


def _scored(visits: list[UUID]) -> Marks:
    rows = VisitScore.objects.across_groups("of visits that the person may see").filter(visit__in=visits)
    return _marks(rows.values_list("visit").annotate(Max("scored_at"), Count("pk")).order_by())


def _marks(rows: Iterable[tuple[Any, ...]]) -> Marks:
    # Numbers beside times: a change that was begun earlier may be committed later.
    return {row[0]: " ".join(map(str, row[1:])) for row in rows}
