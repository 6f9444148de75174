"""Who may send a message now: what is due, what is in nobody's hands, and how a claim is kept.

Claims are told by the database's clock, the one clock that all workers share. A claim is short and its holder
keeps it alive, so that a killed worker's message is free again within seconds, however slow servers may be.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.db.models import F, Q
from django.db.models.functions import Now
from django.utils import timezone

from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import carried
from portal.outbox.models import Message, State
from portal.outbox.retrying import LONGEST_DELAY

logger = logging.getLogger(__name__)

LONGEST_CLAIM = 20.0
# A conversation with the server has about six steps, each of which may wait for the whole timeout.
STEPS = 6
RENEWALS = 4
# No claim reaches further ahead, unless the clock was set back since.
MOST_AHEAD = timedelta(minutes=2)


def claim_seconds() -> float:
    """How long a claim stands that nobody renews, s."""
    return float(min(LONGEST_CLAIM, STEPS * settings.OUTBOX_SMTP["timeout"]))


def is_free() -> Q:
    """In nobody's hands, as far as the database's clock tells."""
    return Q(claimed_until=None) | Q(claimed_until__lt=Now()) | Q(claimed_until__gt=Now() + MOST_AHEAD)


def is_due(now: datetime) -> Q:
    """To be sent by now; a clock that was set back must not hold up what was due already.

    Then a message owed at once lies in the future together with its making, and one that was put off lies
    further ahead than any delay.
    """
    at_once = Q(attempts_made=0, not_before__lte=F("created_at"))
    too_far = Q(attempts_made__gt=0, not_before__gt=now + LONGEST_DELAY)
    return Q(not_before__lte=now) | at_once | too_far


def owed() -> GroupOwnedQuerySet[Message]:
    """What may be sent now."""
    everybodys = Message.objects.across_groups("the outbox delivers for every group")
    return everybodys.filter(is_free(), is_due(timezone.now()), state=State.OWED)


def claim(messages: GroupOwnedQuerySet[Message]) -> Message | None:
    """Take the first of these messages that nobody holds."""
    with transaction.atomic():
        message = messages.select_for_update(skip_locked=True, of=("self",)).first()
        if message is not None:
            _prolong(message.id)
    return message


@contextmanager
def kept(message: Message) -> Iterator[None]:
    """Renew the claim for as long as the block takes, from a thread of its own."""
    done = threading.Event()
    keeper = threading.Thread(target=carried(_keep), args=(message.id, done), name="outbox-claim", daemon=True)
    keeper.start()
    try:
        yield
    finally:
        done.set()


def _keep(message_id: UUID, done: threading.Event) -> None:
    try:
        while not done.wait(claim_seconds() / RENEWALS):
            _renew(message_id)
    finally:
        connection.close()


def _renew(message_id: UUID) -> None:
    try:
        _prolong(message_id)
    except DatabaseError as problem:
        logger.warning("The claim of message %s could not be renewed: %s", message_id, problem)
        connection.close()


def _prolong(message_id: UUID) -> None:
    """Only what is still claimed or being claimed: a mark made meanwhile stands."""
    mine = Message.objects.across_groups("keeps the row it has claimed").filter(id=message_id, state=State.OWED)
    mine.update(claimed_until=Now() + timedelta(seconds=claim_seconds()))
