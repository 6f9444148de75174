"""Who wants to know that a message could not be delivered."""

from __future__ import annotations

from collections.abc import Callable

from portal.outbox.models import Message

Listener = Callable[[Message, str], None]
_listeners: list[Listener] = []


def on_failed(listener: Listener) -> None:
    """Call `listener(message, answer)` inside the transaction that marks a message as failed for good."""
    if listener not in _listeners:
        _listeners.append(listener)


def tell_listeners(message: Message, answer: str) -> None:
    """Pass the failure on; `answer` is what the mail server said."""
    for listener in _listeners:
        listener(message, answer)
