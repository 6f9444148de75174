"""What no line of the log may hold: the token of a signed link, which opens its page to whoever reads it."""

from __future__ import annotations

import logging
from typing import Any

# Names of what opens a page by itself in an address: ours, and allauth's for a new password.
OPENING = ("token", "key", "uidb36")


class WithoutTokens(logging.Filter):
    """Takes tokens out of lines that Django writes of requests, such as those answered with a mistake."""

    def filter(self, record: logging.LogRecord) -> bool:
        match = getattr(getattr(record, "request", None), "resolver_match", None)
        tokens = [str(match.kwargs[name]) for name in OPENING if name in match.kwargs] if match else []
        if isinstance(record.args, tuple):
            record.args = tuple(_without(each, tokens) for each in record.args)
        return True


def _without(word: Any, tokens: list[str]) -> Any:
    if not isinstance(word, str):
        return word
    for token in tokens:
        word = word.replace(token, "…")
    return word
