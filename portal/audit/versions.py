"""The version of what a group shows: known from its trail, so that what is unchanged need not be made again."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, TypeVar
from uuid import UUID

from django.db import models
from django.db.models import Count, DateTimeField, IntegerField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Now

from portal.accounts.models import Group
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.models import AuditEntry

M = TypeVar("M", bound=models.Model)
# What our own sweeps do to jobs changes nothing that anybody is shown.
OUT_OF_COUNT = ("jobs.job", "outbox.message")
# A long transaction may end after a later one: what it wrote shows in the number of entries of a day.
LATELY = timedelta(days=1)


def entries_that_count() -> GroupOwnedQuerySet[AuditEntry]:
    """The trail, without what changes no record."""
    found = AuditEntry.objects.across_groups("narrowed by the group that asks")
    return found.exclude(object_type__in=OUT_OF_COUNT)


def with_version(groups: QuerySet[M], path: str = "pk") -> QuerySet[M]:
    """The same rows with `changed_at` and `changes` of the group at `path`, in their own query."""
    own = entries_that_count().filter(group=OuterRef(path)).order_by()
    lately = own.filter(at__gt=Now() - LATELY).values("group").annotate(number=Count("pk")).values("number")
    rows: Any = groups.annotate(
        changed_at=Subquery(own.order_by("-at").values("at")[:1], output_field=DateTimeField()),
        changes=Subquery(lately, output_field=IntegerField()),
    )
    return rows  # type: ignore[no-any-return]


def version_read(row: models.Model) -> str:
    """Short text that is another whenever anything was recorded; `row` is one of `with_version`."""
    return f"{row.changed_at} {row.changes}"  # type: ignore[attr-defined]


def version_of(group: UUID) -> str:
    """The same of a group of which no such row was read (one query)."""
    return " ".join(map(version_read, _group(group)))


@planned
def _group(group: UUID) -> QuerySet[Group]:
    return with_version(Group.objects.filter(pk=group).only("pk"))
