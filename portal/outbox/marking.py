"""What became of a message is written down at once, each by itself: what a crash finds unmarked goes twice.

A message that was accepted is marked by one statement, because a thousand at once are marked one by one. Marks
are not gathered: a worker that dies may leave one message in doubt for each of its lines, and no more.
"""

from __future__ import annotations

import time
from contextlib import AbstractContextManager, nullcontext
from typing import Any

from django.db import InterfaceError, OperationalError, connection, transaction
from django.utils import timezone

from portal.accounts.walls import within
from portal.outbox.failures import tell_listeners
from portal.outbox.models import Attempt, Message, State
from portal.outbox.retrying import put_off
from portal.outbox.transport import Answer, Result

# Longer than a restart of the database takes.
MARK_SECONDS = 60.0
MARK_PAUSE = 0.2
# Nothing is kept of an attempt whose message was erased meanwhile.
MARK_SENT = """
WITH sent AS (
    UPDATE outbox_message
    SET state = 'sent', sent_at = %(now)s, attempts_made = attempts_made + 1, claimed_until = NULL
    WHERE id = %(id)s
    RETURNING id
)
INSERT INTO outbox_attempt (message_id, at, succeeded, no_server, code, answer)
SELECT id, %(now)s, TRUE, FALSE, %(code)s, %(answer)s FROM sent
"""


def mark_for_certain(message: Message, answer: Answer) -> None:
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


def of_group(message: Message) -> AbstractContextManager[None]:
    """Nothing but the rows of the message's own group, where it has one."""
    return within(message.group_id) if message.group_id else nullcontext()


def _mark(message: Message, answer: Answer) -> None:
    if answer.result is Result.ACCEPTED:
        _mark_sent(message, answer)
    else:
        _mark_failed(message, answer)


def _mark_sent(message: Message, answer: Answer) -> None:
    """What was withdrawn while it was sent, too: it is in the reader's inbox."""
    given: dict[str, Any] = {
        "id": message.id,
        "now": timezone.now(),
        "code": answer.code,
        "answer": answer.text,
    }
    with connection.cursor() as cursor:
        cursor.execute(MARK_SENT, given)


@transaction.atomic
def _mark_failed(message: Message, answer: Answer) -> None:
    rows = Message.objects.across_groups("marks the row it has claimed").select_for_update(of=("self",))
    fresh = rows.filter(id=message.id).first()
    if fresh is None:
        return
    no_server = answer.result is Result.NO_SERVER
    Attempt.objects.create(
        message=fresh, succeeded=False, no_server=no_server, code=answer.code, answer=answer.text
    )
    fresh.attempts_made += 1
    fresh.claimed_until = None
    if fresh.state == State.OWED:
        put_off(fresh, answer)
    fresh.save(update_fields=["attempts_made", "claimed_until", "state", "not_before"])
    # In the same transaction, so that what a listener owes because of this is owed for certain.
    if fresh.state == State.FAILED:
        with of_group(fresh):
            tell_listeners(fresh, answer.text)
