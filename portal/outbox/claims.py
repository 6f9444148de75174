"""Who may send a message now: what is due, what is in nobody's hands, and how a claim is kept.

Claims are told by the database's clock, the one clock that all workers share. A claim is short and its holder
keeps it alive, so that a killed worker's message is free again within seconds, however slow servers may be.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any
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


def claim(messages: GroupOwnedQuerySet[Message], count: int = 1) -> list[Message]:
    """Take the first so many of these messages that nobody holds."""
    with transaction.atomic():
        taken = list(messages.select_for_update(skip_locked=True, of=("self",))[:count])
        if taken:
            _owed_rows([each.id for each in taken]).update(claimed_until=_until())
    return taken


def give_back(messages: Sequence[Message]) -> None:
    """Free what was claimed and not begun."""
    _owed_rows([each.id for each in messages]).update(claimed_until=None)


class Keeper:
    """Renews claims for as long as a server thinks about the message, from a thread of its own."""

    def __init__(self) -> None:
        self._in_hand: set[UUID] = set()
        self._lock, self._done = threading.Lock(), threading.Event()
        self._thread: threading.Thread | None = None

    def close(self) -> None:
        """Renew nothing any more."""
        self._done.set()

    @contextmanager
    def keeping(self, message: Message) -> Iterator[None]:
        """Renew the claim of this message until the block ends."""
        with self._lock:
            self._in_hand.add(message.id)
            self._start()
        try:
            yield
        finally:
            with self._lock:
                self._in_hand.discard(message.id)

    @property
    def in_hand(self) -> list[UUID]:
        """The messages that are being sent or marked at this moment."""
        with self._lock:
            return list(self._in_hand)

    def _start(self) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=carried(self._keep), name="outbox-claims", daemon=True)
            self._thread.start()

    def _keep(self) -> None:
        try:
            while not self._done.wait(claim_seconds() / RENEWALS):
                self._renew()
        finally:
            connection.close()

    def _renew(self) -> None:
        numbers = self.in_hand
        try:
            if numbers:
                _prolong(numbers)
        except DatabaseError as problem:
            logger.warning("The claims of %s messages could not be renewed: %s", len(numbers), problem)
            connection.close()


def _prolong(numbers: Sequence[UUID]) -> None:
    """Renew; a mark made meanwhile stands, whether it was sent, put off or given back."""
    _owed_rows(numbers).filter(claimed_until__isnull=False).update(claimed_until=_until())


def _owed_rows(numbers: Sequence[UUID]) -> GroupOwnedQuerySet[Message]:
    rows = Message.objects.across_groups("keeps the rows it has claimed")
    return rows.filter(id__in=numbers, state=State.OWED)


def _until() -> Any:
    return Now() + timedelta(seconds=claim_seconds())
