"""The version of what a group shows: known from its trail, so that an unchanged page need not be made again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any, TypeVar

from django.conf import settings
from django.db import models
from django.db.models import Count, DateTimeField, IntegerField, OuterRef, QuerySet, Subquery
from django.db.models.functions import Now
from django.utils import timezone

from portal.accounts.models import Group
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


def last_changed(rows: Iterable[Group]) -> datetime:
    """When the latest of them changed; the day's beginning at least, because what is old depends on today."""
    today = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    found: list[datetime] = [each.changed_at for each in rows if each.changed_at]  # type: ignore[attr-defined]
    return max([today.astimezone(UTC), *found])


def fingerprint(rows: Iterable[Group], *parts: str) -> str:
    """Short text that is another whenever the rows of `with_version`, the day or the portal's code are."""
    known = [f"{each.pk}{each.changed_at}{each.changes}" for each in rows]  # type: ignore[attr-defined]
    whole = "\n".join([*known, *parts, timezone.localdate().isoformat(), code_version()])
    return hashlib.sha256(whole.encode()).hexdigest()[:24]


@cache
def code_version() -> str:
    """A fingerprint of what pages are set from, the same in every process of one release."""
    folders = ("templates", "portal/public", "portal/charts", "portal/static/css", "portal/locale")
    files = [path for name in folders for path in (settings.BASE_DIR / name).rglob("*") if path.is_file()]
    whole = hashlib.sha256()
    for path in sorted(path for path in files if path.suffix != ".pyc"):
        whole.update(path.read_bytes())
    return whole.hexdigest()
