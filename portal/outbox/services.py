"""Owing messages: the only way to send an e-mail is to write the row that is owed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.outbox.claims import is_free
from portal.outbox.models import Message, State
from portal.outbox.nudging import nudge
from portal.outbox.queries import undelivered_messages

SUBJECT_LENGTH = 250


def owe_message(
    *,
    key: str,
    kind: str,
    to_address: str,
    to_name: str = "",
    subject: str,
    text: str,
    html: str = "",
    group: Group | None = None,
    reply_to: str = "",
    picture_maker: str = "",
    picture_args: Mapping[str, Any] | None = None,
    about: models.Model | None = None,
    not_before: datetime | None = None,
    unsubscribe_url: str = "",
) -> Message:
    """Write the message owed under `key`, or return the one that is owed under it already.

    Belongs inside the transaction of whatever it tells: both stand or neither. After the commit Celery is
    nudged to deliver; a broker that is down costs nothing, the sweep delivers then. `picture_maker` is a name
    from `outbox.pictures`, `about` the record the message concerns, `not_before` the earliest time to send.
    A POST to `unsubscribe_url` ends messages of this kind, so that mail programs can offer a button for it.
    """
    fields = {
        "kind": kind,
        "to_address": to_address,
        "to_name": to_name,
        "subject": " ".join(subject.split())[:SUBJECT_LENGTH],
        "text": text,
        "html": html,
        "group": group,
        "reply_to": reply_to,
        "picture_maker": picture_maker,
        "picture_args": dict(picture_args or {}),
        "unsubscribe_url": unsubscribe_url,
        "not_before": not_before or timezone.now(),
        **_about(about),
    }
    with wide("a key is unique over the whole portal, and mail of an account is of no group"):
        owed = Message.objects.across_groups("as the portal's own")
        message, is_new = owed.get_or_create(key=key, defaults=fields)
    if is_new and message.not_before <= timezone.now():
        transaction.on_commit(lambda: nudge(message.id))
    return message


@transaction.atomic
def retry_messages(*, person: Person, group: Group) -> int:
    """Have what failed or was put off tried at once, as if for the first time; return how many messages.

    A message that is being sent at this moment is left alone.
    """
    require(person, "outbox.retry", group)
    stuck = undelivered_messages(group).filter(is_free()).prefetch_related(None).order_by()
    numbers = [each.pk for each in stuck.select_for_update(skip_locked=True, of=("self",))]
    rows = Message.objects.of_group(group).filter(pk__in=numbers)
    rows.update(state=State.OWED, not_before=timezone.now(), attempts_made=0)
    if numbers:
        record_change(
            actor=person, verb="messages.retried", thing=group, changes={"messages": [None, len(numbers)]}
        )
    for number in numbers:
        transaction.on_commit(partial(nudge, number))
    return len(numbers)


@wide("mail about a record goes with it, whoever ends it")
def cancel_messages(about: models.Model, kind: str = "") -> int:
    """Withdraw what is still owed about a record (of one kind, if given); return how many.

    A message that is being sent at this moment is left alone: it may be in the reader's inbox already.
    """
    owed = Message.objects.across_groups("the record names its own group").filter(
        is_free(), state=State.OWED, **_about(about)
    )
    return owed.filter(**({"kind": kind} if kind else {})).update(state=State.CANCELLED)


@wide("mail about a record goes with it, whoever erases it")
def forget_messages(about: models.Model) -> int:
    """Erase what was sent or owed about a record that is kept no longer; return how many.

    A message that is being sent at this moment stays: withdraw beforehand what must not go out any more.
    """
    rows = Message.objects.across_groups("the record names its own group").filter(is_free(), **_about(about))
    return rows.delete()[1].get("outbox.Message", 0)


def _about(thing: models.Model | None) -> dict[str, Any]:
    if thing is None:
        return {}
    return {"about_type": thing._meta.label_lower, "about_id": thing.pk}
