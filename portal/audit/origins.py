"""The way that a change comes into the portal: what every entry of the trail says besides who, what and when.

The middleware, the worker's signals and `manage.py` say it once, at the beginning; `record_change` reads it. It
lives in a context variable, so that what happens on one thread is never taken for what happens on another.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class Way(TextChoices):
    PAGE = "page", _("on a page")
    INTERFACE = "interface", _("by the interface")
    LINK = "link", _("by a link that was sent")
    JOB = "job", _("by long work")
    IMPORT = "import", _("from a spreadsheet")
    TASK = "task", _("by the portal's own clock")
    COMMAND = "command", _("by a command on the server")


@dataclass(frozen=True)
class Origin:
    """`detail` is the name of the key, the purpose of the link, the kind of work, the task or the command.

    `address` is the client's network address, where there is a client.
    """

    way: str = ""
    detail: str = ""
    address: str | None = None


UNKNOWN = Origin()
_origin: ContextVar[Origin] = ContextVar("origin of changes", default=UNKNOWN)


def origin() -> Origin:
    """Where what is done now comes from; `UNKNOWN` in a shell."""
    return _origin.get()


@contextmanager
def coming_from(way: str, detail: str = "", address: str | None = None) -> Iterator[None]:
    """All that is recorded inside comes this way."""
    token = _origin.set(Origin(way, detail, address))
    try:
        yield
    finally:
        _origin.reset(token)


def came_by(way: str, detail: str) -> None:
    """Say more exactly how the request that is answered now has come; nothing outside of requests."""
    now = _origin.get()
    # A link or key that a task or test reads is not the way by which anything came.
    if now.way == Way.PAGE:
        _origin.set(replace(now, way=way, detail=detail))


def begin(way: str, detail: str) -> None:
    """Say it for all that this process, or this task of a worker, does from now on."""
    _origin.set(Origin(way, detail))
