"""Why a change of state was refused, in words for the person who asked for it."""

from __future__ import annotations


class Conflict(Exception):
    """The number (UUID) is in use for something of somebody else's."""


class NotPossible(Exception):
    """The state of things does not allow it, or something is missing; `field` says where, if anywhere."""

    def __init__(self, message: str, field: str = "") -> None:
        self.message = message
        self.field = field
        super().__init__(message)


class ChangedMeanwhile(NotPossible):
    """What the person was shown is not what stands there now."""


def need_text(text: str, field: str, message: str) -> str:
    """The text without outer blanks; raises NotPossible at the field when nothing is left."""
    plain = text.strip()
    if not plain:
        raise NotPossible(message, field)
    return plain
