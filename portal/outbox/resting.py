"""After a server that took nothing nudges leave it to the sweep; each would hold a worker up for a timeout."""

from __future__ import annotations

import time

from portal.outbox.transport import Answer, Result

REST_SECONDS = 10.0
_rest_until = 0.0


def is_resting() -> bool:
    """Whether the server was away a moment ago."""
    return time.monotonic() < _rest_until


def note_server(answer: Answer) -> None:
    """Remember for a moment whether the server took anything."""
    global _rest_until
    is_away = answer.result in (Result.NO_SERVER, Result.CUT_OFF)
    _rest_until = time.monotonic() + REST_SECONDS if is_away else 0.0
