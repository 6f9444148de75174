"""Reading the outbox."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, TypeVar

from django.db import models
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide
from portal.outbox.models import Message, State

M = TypeVar("M", bound=models.Model)
# The sweep comes every 10 s: what is older than this and still owed is in trouble.
LATE_AFTER = timedelta(minutes=5)


def undelivered_messages(group: Group, now: datetime | None = None) -> GroupOwnedQuerySet[Message]:
    """What failed, was put off or is late, newest first."""
    since = (now or timezone.now()) - LATE_AFTER
    late = Q(state=State.OWED) & (Q(attempts_made__gt=0) | Q(not_before__lt=since))
    found = Message.objects.of_group(group).filter(Q(state=State.FAILED) | late)
    return found.prefetch_related("attempts").order_by("-created_at")


def with_undelivered(things: QuerySet[M], group: Group) -> QuerySet[M]:
    """The same records of the group, each with `is_undelivered`: whether a message about it has not arrived."""
    kind = things.model._meta.label_lower
    stuck = undelivered_messages(group).filter(about_type=kind, about_id=OuterRef("pk"))
    rows: Any = things.annotate(is_undelivered=Exists(stuck.prefetch_related(None).order_by()))
    return rows  # type: ignore[no-any-return]


def delivered_messages(group: Group) -> GroupOwnedQuerySet[Message]:
    """What a mail server has accepted, newest first."""
    found = Message.objects.of_group(group).filter(state=State.SENT)
    return found.prefetch_related("attempts").order_by("-sent_at")


def messages_about(thing: models.Model, group: Group) -> GroupOwnedQuerySet[Message]:
    """Every message that concerns a record, oldest first, with its attempts."""
    found = Message.objects.of_group(group).filter(about_type=thing._meta.label_lower, about_id=thing.pk)
    return found.prefetch_related("attempts").order_by("created_at")


def messages_due(now: datetime | None = None) -> GroupOwnedQuerySet[Message]:
    """Everybody's messages that should have left by now."""
    owed = Message.objects.across_groups("the health of the whole portal").filter(state=State.OWED)
    return owed.filter(not_before__lte=now or timezone.now())


@wide("the health of the whole portal")
def oldest_owed_at() -> datetime | None:
    """When the oldest message that is due should have left; None when nothing is owed."""
    oldest: datetime | None = messages_due().aggregate(oldest=models.Min("created_at"))["oldest"]
    return oldest


def oldest_owed_seconds() -> int:
    """Age of the oldest message that is due, s; 0 when nothing is owed."""
    return _seconds_since(oldest_owed_at())


def _seconds_since(owed_at: datetime | None) -> int:
    return int((timezone.now() - owed_at).total_seconds()) if owed_at else 0


def late_minutes(owed_at: datetime | None) -> int:
    """How old the oldest owed message is, min, once that is too old; 0 while messages flow."""
    age = _seconds_since(owed_at)
    return age // 60 if age > LATE_AFTER.total_seconds() else 0
