"""Pictures inside messages, drawn when the message is sent so that its row stays small."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from portal.outbox.models import Message

logger = logging.getLogger(__name__)

PictureMaker = Callable[..., bytes]
_makers: dict[str, PictureMaker] = {}


def register_picture(name: str, maker: PictureMaker) -> None:
    """Let messages name `maker`: it gets `picture_args` as keywords and returns a PNG."""
    _makers[name] = maker


def draw_picture(message: Message) -> bytes | None:
    """The message's picture as PNG, or None when it has none or drawing fails: an alert never waits for it."""
    if not message.picture_maker:
        return None
    arguments: dict[str, Any] = message.picture_args
    try:
        return _makers[message.picture_maker](**arguments)
    except Exception:
        logger.exception("The picture %r of message %s cannot be drawn.", message.picture_maker, message.id)
        return None
