"""Telling Celery that a message is owed, without ever making the page wait for the broker.

A thread of its own talks to the broker: a dead one may take seconds to be found dead, and the visit that was
just saved must not pay for that. Whatever a nudge misses is delivered by the sweep.
"""

from __future__ import annotations

import logging
import os
import queue
import threading
from contextlib import suppress
from contextvars import Context, copy_context
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

logger = logging.getLogger(__name__)

MOST_WAITING = 1000
# Each nudge has a worker send whatever is owed: a crowd of them would only keep the workers busy being told.
MOST_AT_ONCE = 4


@dataclass(frozen=True)
class Nudge:
    """Which message is owed, and for how many seconds it is worth saying; None: for good."""

    message_id: UUID
    within: float | None = None
    # In which it was said: a trace of the request goes on in the task.
    context: Context = field(default_factory=copy_context)


class Nudger:
    """A queue of message numbers and the thread that hands them to Celery."""

    def __init__(self) -> None:
        self._waiting: queue.Queue[Nudge] = queue.Queue(MOST_WAITING)
        self._thread: threading.Thread | None = None
        self._starting = threading.Lock()

    def nudge(self, nudge: Nudge) -> None:
        """Hand it over; when a dead broker has filled the queue it is dropped."""
        try:
            self._waiting.put_nowait(nudge)
        except queue.Full:
            return
        self._start()

    def _start(self) -> None:
        with self._starting:
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._run, name="outbox-nudger", daemon=True)
                self._thread.start()

    def _run(self) -> None:
        while True:
            for nudge in self._next_few():
                if not nudge.context.run(self._send, nudge):
                    break

    def _next_few(self) -> list[Nudge]:
        """Wait for a nudge; of those that wait by then the first few stand for all."""
        crowd = [self._waiting.get()]
        with suppress(queue.Empty):
            while True:
                crowd.append(self._waiting.get_nowait())
        return crowd[:MOST_AT_ONCE]

    def _send(self, nudge: Nudge) -> bool:
        # Imported here, because the tasks import the services, which import this module.
        from portal.outbox.tasks import deliver_message

        try:
            limits: dict[str, Any] = {} if nudge.within is None else {"expires": nudge.within}
            deliver_message.apply_async((str(nudge.message_id),), retry=False, **limits)
        except Exception as problem:
            logger.warning("The broker does not answer (%s); the sweep will deliver.", problem)
            self._forget()
            return False
        return True

    def _forget(self) -> None:
        """Drop what waits: each would only meet the same dead broker for seconds."""
        while not self._waiting.empty():
            self._waiting.get_nowait()


_nudger = Nudger()


def _renew() -> None:
    global _nudger
    _nudger = Nudger()


# A forked process (gunicorn, Celery) inherits the queue but not the thread.
os.register_at_fork(after_in_child=_renew)


def nudge(message_id: UUID, *, within: float | None = None) -> None:
    """Ask a worker to deliver this message now; never raises, never waits.

    With `within`, in seconds, it is forgotten when no worker is free by then.
    """
    _nudger.nudge(Nudge(message_id, within))
