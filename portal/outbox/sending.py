"""One round of sending: a few messages are claimed together, each is sent and marked by itself.

While much is owed, further lines help: a mail server that thinks about a message holds up its own line only. No
database transaction is open while a mail server thinks.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Sequence
from itertools import cycle

from django.conf import settings
from django.db import DatabaseError, connection

from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import carried
from portal.outbox.claims import Keeper, claim, claim_seconds, give_back, owed
from portal.outbox.composing import compose
from portal.outbox.marking import mark_for_certain, of_group
from portal.outbox.models import Message
from portal.outbox.resting import note_server
from portal.outbox.transport import Answer, Line, Result

logger = logging.getLogger(__name__)

# So many lines cut one after the other are the server's fault, not the messages'.
MOST_CUTS = 2
# What a dead worker had in hand waits until its claims have run out: no more than goes out in a moment.
MOST_IN_HAND = 16
HAND_SECONDS = 0.25
# A claim older than this share of its time may run out before it is renewed.
FRESH = 0.5
# From both ends in turn: a new alert does not wait behind a thousand others, nor the oldest for ever.
BOTH_ENDS = (("not_before", "created_at"), ("-created_at",))


class Round:
    """What one worker sends in one go, for at most so many seconds; `tried` counts the messages tried."""

    def __init__(self, seconds: float) -> None:
        self._end = time.monotonic() + seconds
        self._ends, self._lock = cycle(BOTH_ENDS), threading.Lock()
        self._cuts, self._is_stopped = 0, False
        self._helpers: list[threading.Thread] = []
        self.tried, self.keeper = 0, Keeper()
        self._own = Sender(self)

    def __enter__(self) -> Round:
        return self

    def __exit__(self, *_fault: object) -> None:
        self._is_stopped = True
        self._await_help()
        self.keeper.close()
        self._own.line.close()

    @property
    def is_over(self) -> bool:
        """Time is up, or the server takes nothing."""
        return self._is_stopped or self.is_out_of_time

    @property
    def is_out_of_time(self) -> bool:
        return time.monotonic() >= self._end

    def send_first(self, messages: GroupOwnedQuerySet[Message]) -> Answer | None:
        """Send the first of these; None when there is none that nobody holds."""
        for message in claim(messages):
            return self._own.send(message)
        return None

    def carry_on(self) -> None:
        """Send what is owed, oldest and newest in turn, until nothing is or the round is over."""
        self._own.send_owed()
        self._await_help()

    def claim_some(self, count: int) -> list[Message]:
        """The next to send; further lines are opened when there is more than one can carry at once."""
        with self._lock:
            end = next(self._ends)
        # A claim may run out while the database is away, and its holder be about to mark the message.
        rows = owed().exclude(id__in=self.keeper.in_hand)
        batch = claim(rows.order_by(*end), count)
        # One was sent, and as many as were asked for are there again.
        if self.tried and len(batch) == count:
            self._call_for_help()
        return batch

    def note(self, answer: Answer) -> None:
        """Count a try, and stop when the server takes nothing."""
        note_server(answer)
        with self._lock:
            self.tried += 1
            self._cuts = self._cuts + 1 if answer.result is Result.CUT_OFF else 0
            if answer.result is Result.NO_SERVER or self._cuts >= MOST_CUTS:
                self._is_stopped = True

    def _call_for_help(self) -> None:
        with self._lock:
            if self._helpers:
                return
            for _ in range(settings.OUTBOX_SMTP["lines"] - 1):
                helper = threading.Thread(
                    target=carried(_help), args=(Sender(self, is_own=False),), daemon=True
                )
                self._helpers.append(helper)
                helper.start()

    def _await_help(self) -> None:
        for helper in self._helpers:
            helper.join()


class Sender:
    """One line of a round and who speaks over it.

    A line that only helps ends when the server is away or cuts it: it may be one too many for that server. The
    round's own line finds out.
    """

    def __init__(self, whole: Round, *, is_own: bool = True) -> None:
        self.line, self._round = Line(), whole
        self._is_own, self._is_done = is_own, False

    def send_owed(self) -> None:
        """Claim and send until nothing is owed or the round is over."""
        size = 1
        while not self._must_stop:
            begun = time.monotonic()
            batch = self._round.claim_some(size)
            if not batch:
                return
            size = self._send_all(batch, begun)

    @property
    def _must_stop(self) -> bool:
        return self._is_done or self._round.is_over

    def _send_all(self, batch: Sequence[Message], begun: float) -> int:
        """Send these one by one; what would have to wait is given back. Returns how many to claim next."""
        for place, message in enumerate(batch):
            has_to_wait = place > 0 and _since(begun) > 2 * HAND_SECONDS
            if self._must_stop or has_to_wait or not _is_fresh(begun):
                _leave(batch[place:], begun)
                return 1
            self.send(message)
        return min(MOST_IN_HAND, max(1, int(len(batch) * HAND_SECONDS / _since(begun))))

    def send(self, message: Message) -> Answer:
        """Send one that is claimed, and mark it."""
        with self._round.keeper.keeping(message):
            answer = _try(message, self.line)
            if self._is_one_too_many(answer):
                give_back([message])
            else:
                mark_for_certain(message, answer)
                self._round.note(answer)
        return answer

    def _is_one_too_many(self, answer: Answer) -> bool:
        if not self._is_own and answer.result in (Result.NO_SERVER, Result.CUT_OFF):
            self._is_done = True
        return self._is_done and answer.result is Result.NO_SERVER


def _help(sender: Sender) -> None:
    try:
        with sender.line:
            sender.send_owed()
    except DatabaseError as problem:
        # What it had in hand is free when its claims run out; the round's own line meets the same database.
        logger.warning("A further line ends: %s", problem)
    finally:
        connection.close()


def _leave(messages: Sequence[Message], begun: float) -> None:
    """Free what was not begun, unless its claim may have run out and somebody else hold it."""
    if _is_fresh(begun):
        give_back(messages)


def _is_fresh(begun: float) -> bool:
    """Whether a claim of that moment stands for certain until it is renewed."""
    return _since(begun) < FRESH * claim_seconds()


def _since(moment: float) -> float:
    return max(time.monotonic() - moment, 0.001)


def _try(message: Message, line: Line) -> Answer:
    try:
        with of_group(message):
            composed = compose(message)
        return line.send(composed)
    except ValueError as problem:
        return Answer(Result.REFUSED, None, str(problem))
    except Exception as problem:
        # A fault of ours: kept visible as an attempt, tried again after a delay, and no hindrance to the rest.
        logger.exception("Message %s cannot be put together.", message.id)
        return Answer(Result.TRY_AGAIN, None, f"The message could not be put together: {problem}")
