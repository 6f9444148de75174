"""Claim, send, mark: each step its own short transaction, and none held open while a mail server thinks.

A process that dies after the claim leaves the row owed and claimed; once the claim has run out somebody else
sends it again under the same Message-ID. So a message is sent at least once, never lost.
"""

from __future__ import annotations

import logging
import time
from contextlib import AbstractContextManager, nullcontext
from itertools import cycle
from uuid import UUID

from django.db import InterfaceError, OperationalError, connection, transaction
from django.utils import timezone

from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide, within
from portal.outbox.claims import claim, kept, owed
from portal.outbox.composing import compose
from portal.outbox.failures import tell_listeners
from portal.outbox.models import Attempt, Message, State
from portal.outbox.retrying import put_off
from portal.outbox.transport import Answer, Line, Result

logger = logging.getLogger(__name__)

# Below the ten seconds that a container is usually given to stop in: the sweep at hand ends by itself.
SWEEP_SECONDS = 8.0
MORE_SECONDS = 1.0
# So many lines cut one after the other are the server's fault, not the messages'.
MOST_CUTS = 2
# Longer than a restart of the database takes.
MARK_SECONDS = 60.0
MARK_PAUSE = 0.2
# After a server that took nothing, nudges leave it to the sweep: each would hold the worker up for a timeout.
REST_SECONDS = 10.0
_rest_until = 0.0
# From both ends in turn: a new alert does not wait behind a thousand others, nor the oldest for ever.
BOTH_ENDS = (("not_before", "created_at"), ("-created_at",))


@wide("a worker is given the number of the message only")
def deliver(message_id: UUID) -> Answer | None:
    """Send one message now; None when it is not owed, not due, in somebody else's hands, or the server is away.

    While the line is open it carries whatever else is owed, for at most 1 s: a thousand owed at once then need
    few connections.
    """
    if time.monotonic() < _rest_until:
        return None
    with Line() as line:
        answer = _deliver_first(owed().filter(id=message_id), line)
        if answer is not None and answer.result is Result.ACCEPTED:
            _carry_on(line, MORE_SECONDS)
    return answer


@wide("the outbox delivers for every group")
def deliver_all_owed() -> int:
    """Send what is owed and due, oldest and newest in turn, for at most 8 s; return how many were tried.

    Stops when the server takes nothing: the rest would only collect the same failure.
    """
    with Line() as line:
        return _carry_on(line, SWEEP_SECONDS)


def _carry_on(line: Line, seconds: float) -> int:
    tried, cuts, ends, end = 0, 0, cycle(BOTH_ENDS), time.monotonic() + seconds
    while time.monotonic() < end:
        answer = _deliver_first(owed().order_by(*next(ends)), line)
        if answer is None:
            break
        tried += 1
        cuts = cuts + 1 if answer.result is Result.CUT_OFF else 0
        if answer.result is Result.NO_SERVER or cuts == MOST_CUTS:
            break
    return tried


def _deliver_first(messages: GroupOwnedQuerySet[Message], line: Line) -> Answer | None:
    message = claim(messages)
    if message is None:
        return None
    with kept(message):
        answer = _try(message, line)
        _mark_for_certain(message, answer)
    _note_server(answer)
    return answer


def _note_server(answer: Answer) -> None:
    global _rest_until
    is_away = answer.result in (Result.NO_SERVER, Result.CUT_OFF)
    _rest_until = time.monotonic() + REST_SECONDS if is_away else 0.0


def _try(message: Message, line: Line) -> Answer:
    try:
        with _of(message):
            composed = compose(message)
        return line.send(composed)
    except ValueError as problem:
        return Answer(Result.REFUSED, None, str(problem))
    except Exception as problem:
        # A fault of ours: kept visible as an attempt, tried again after a delay, and no hindrance to the rest.
        logger.exception("Message %s cannot be put together.", message.id)
        return Answer(Result.TRY_AGAIN, None, f"The message could not be put together: {problem}")


def _mark_for_certain(message: Message, answer: Answer) -> None:
    """Wait for a database that is restarted just now: without the mark a second copy would go out."""
    end = time.monotonic() + MARK_SECONDS
    while True:
        try:
            return _mark(message, answer)
        except (OperationalError, InterfaceError):
            if connection.in_atomic_block or time.monotonic() > end:
                raise
            connection.close()
            time.sleep(MARK_PAUSE)


def _mark(message: Message, answer: Answer) -> None:
    with transaction.atomic():
        fresh = Message.objects.across_groups("marks the row it has claimed").select_for_update(of=("self",))
        message = fresh.get(id=message.id)
        _note_attempt(message, answer)
        if answer.result is Result.ACCEPTED:
            message.state, message.sent_at = State.SENT, timezone.now()
        elif message.state == State.OWED:
            put_off(message, answer)
        message.save(update_fields=["attempts_made", "claimed_until", "state", "sent_at", "not_before"])
        # In the same transaction, so that what a listener owes because of this is owed for certain.
        if message.state == State.FAILED:
            with _of(message):
                tell_listeners(message, answer.text)


def _of(message: Message) -> AbstractContextManager[None]:
    """Nothing but the rows of the message's own group, where it has one."""
    return within(message.group_id) if message.group_id else nullcontext()


def _note_attempt(message: Message, answer: Answer) -> None:
    Attempt.objects.create(
        message=message,
        succeeded=answer.result is Result.ACCEPTED,
        no_server=answer.result is Result.NO_SERVER,
        code=answer.code,
        answer=answer.text,
    )
    message.attempts_made += 1
    message.claimed_until = None
