"""Claim, send, mark: each step its own short transaction, and none held open while a mail server thinks.

A process that dies after the claim leaves the row owed and claimed; once the claim has run out somebody else
sends it again under the same Message-ID. So a message is sent at least once, never lost.
"""

from __future__ import annotations

import logging
import random
import time
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from portal.accounts.scoping import GroupOwnedQuerySet
from portal.outbox.composing import compose
from portal.outbox.failures import tell_listeners
from portal.outbox.models import Attempt, Message, State
from portal.outbox.transport import Answer, Line, Result

logger = logging.getLogger(__name__)

FIRST_DELAY = timedelta(minutes=1)
LONGEST_DELAY = timedelta(hours=1)
# RFC 5321, 4.5.4.1: the time until giving up needs to be at least four to five days.
GIVE_UP_AFTER = timedelta(days=5)
SWEEP_SECONDS = 25.0
MORE_SECONDS = 1.0
# A conversation with the server has about six steps, each of which may wait for the whole timeout.
STEPS = 6


def deliver(message_id: UUID) -> Answer | None:
    """Send one message now; None when it is not owed, not due, or in somebody else's hands.

    While the line is open it carries whatever else is owed, for at most 1 s: a thousand owed at once then need
    few connections.
    """
    with Line() as line:
        answer = _deliver_first(_owed().filter(id=message_id), line)
        if answer is not None and answer.result is Result.ACCEPTED:
            _carry_on(line, MORE_SECONDS)
    return answer


def deliver_all_owed() -> int:
    """Send what is owed and due, oldest first, for at most 25 s; return how many were tried.

    Stops when no server answers: the rest would only collect the same failure.
    """
    with Line() as line:
        return _carry_on(line, SWEEP_SECONDS)


def _carry_on(line: Line, seconds: float) -> int:
    tried, end = 0, time.monotonic() + seconds
    while time.monotonic() < end:
        answer = _deliver_first(_owed().order_by("not_before", "created_at"), line)
        if answer is None:
            break
        tried += 1
        if answer.result is Result.NO_SERVER:
            break
    return tried


def _owed() -> GroupOwnedQuerySet[Message]:
    now = timezone.now()
    free = Q(claimed_until=None) | Q(claimed_until__lt=now)
    owed = Message.objects.across_groups("the outbox delivers for every group")
    return owed.filter(free, state=State.OWED, not_before__lte=now)


def _deliver_first(owed: GroupOwnedQuerySet[Message], line: Line) -> Answer | None:
    message = claim(owed)
    if message is None:
        return None
    answer = _try(message, line)
    _mark(message, answer)
    return answer


def claim(owed: GroupOwnedQuerySet[Message]) -> Message | None:
    """Take the first of these messages that nobody holds, for long enough to send it."""
    with transaction.atomic():
        message = owed.select_for_update(skip_locked=True, of=("self",)).first()
        if message is not None:
            message.claimed_until = timezone.now() + timedelta(seconds=STEPS * settings.OUTBOX_SMTP["timeout"])
            message.save(update_fields=["claimed_until"])
    return message


def _try(message: Message, line: Line) -> Answer:
    try:
        return line.send(compose(message))
    except ValueError as problem:
        return Answer(Result.REFUSED, None, str(problem))
    except Exception as problem:
        # A fault of ours: kept visible as an attempt, tried again after a delay, and no hindrance to the rest.
        logger.exception("Message %s cannot be put together.", message.id)
        return Answer(Result.TRY_AGAIN, None, f"The message could not be put together: {problem}")


def _mark(message: Message, answer: Answer) -> None:
    with transaction.atomic():
        fresh = Message.objects.across_groups("marks the row it has claimed").select_for_update(of=("self",))
        message = fresh.get(id=message.id)
        accepted = answer.result is Result.ACCEPTED
        Attempt.objects.create(message=message, succeeded=accepted, code=answer.code, answer=answer.text)
        message.attempts_made += 1
        message.claimed_until = None
        if accepted:
            message.state, message.sent_at = State.SENT, timezone.now()
        elif message.state == State.OWED:
            _put_off(message, answer)
        message.save(update_fields=["attempts_made", "claimed_until", "state", "sent_at", "not_before"])
        # In the same transaction, so that what a listener owes because of this is owed for certain.
        if message.state == State.FAILED:
            tell_listeners(message, answer.text)


def _put_off(message: Message, answer: Answer) -> None:
    now = timezone.now()
    if answer.result is Result.REFUSED or now - message.created_at > GIVE_UP_AFTER:
        message.state = State.FAILED
    else:
        message.not_before = next_try(message.attempts_made, now)


def next_try(attempts_made: int, now: datetime) -> datetime:
    """When to try again: after 1 min, doubling to 1 h, shortened at random by up to a fifth.

    The jitter keeps messages that failed together from coming back together.
    """
    delay: timedelta = min(FIRST_DELAY * 2 ** min(attempts_made - 1, 10), LONGEST_DELAY)
    wait: timedelta = delay * random.uniform(0.8, 1.0)  # noqa: S311
    return now + wait
