"""Pictures inside messages, drawn when the message is sent so that its row stays small."""

from __future__ import annotations

import json
import logging
import threading
import time
from base64 import encodebytes
from collections.abc import Callable
from typing import Any, NamedTuple

from portal.outbox.models import Message

logger = logging.getLogger(__name__)

PictureMaker = Callable[..., bytes]
_makers: dict[str, PictureMaker] = {}
# Long enough for the readers of one incident, short enough to show nothing that has changed since.
KEPT_SECONDS = 5.0
MOST_KEPT = 50


class Kept(NamedTuple):
    """A picture in base64, and when it was drawn, s on the monotonic clock."""

    encoded: str
    at: float


_kept: dict[tuple[Any, ...], Kept] = {}
_drawing = threading.Lock()


def register_picture(name: str, maker: PictureMaker) -> None:
    """Let messages name `maker`: it gets `picture_args` as keywords and returns a PNG."""
    _makers[name] = maker


def draw_picture(message: Message) -> str | None:
    """The message's picture as PNG, written in base64; None when it has none or drawing fails.

    An alert never waits for its picture. Messages that go out within seconds of each other to several readers
    share one drawing.
    """
    if not message.picture_maker:
        return None
    try:
        return _drawn(message)
    except Exception:
        logger.exception("The picture %r of message %s cannot be drawn.", message.picture_maker, message.id)
        return None


def _drawn(message: Message) -> str:
    arguments: dict[str, Any] = message.picture_args
    maker = _makers[message.picture_maker]
    asked = (maker, message.group_id, json.dumps(arguments, sort_keys=True))
    # One at a time: who asks for the same at the same moment waits for it.
    with _drawing:
        kept = _kept.get(asked)
        if kept is None or time.monotonic() - kept.at > KEPT_SECONDS:
            kept = Kept(encodebytes(maker(**arguments)).decode("ascii"), time.monotonic())
            _keep(asked, kept)
    return kept.encoded


def _keep(asked: tuple[Any, ...], picture: Kept) -> None:
    while len(_kept) >= MOST_KEPT:
        del _kept[next(iter(_kept))]
    _kept[asked] = picture
