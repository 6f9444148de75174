"""Who wants to know that a message could not be delivered."""

from __future__ import annotations

import logging
from collections.abc import Callable

from django.db import InterfaceError, OperationalError, transaction

from portal.outbox.models import Message

logger = logging.getLogger(__name__)

Listener = Callable[[Message, str], None]
_listeners: list[Listener] = []


def on_failed(listener: Listener) -> None:
    """Call `listener(message, answer)` inside the transaction that marks a message as failed for good."""
    if listener not in _listeners:
        _listeners.append(listener)


def tell_listeners(message: Message, answer: str) -> None:
    """Pass the failure on; `answer` is what the mail server said.

    A listener that stumbles leaves the mark and the other listeners alone, else the same message would be tried
    over and over. A database that is away is waited for by the caller.
    """
    for listener in _listeners:
        try:
            with transaction.atomic():
                listener(message, answer)
        except (OperationalError, InterfaceError):
            raise
        except Exception:
            logger.exception("The failure of message %s could not be passed on.", message.id)
