"""The register of kinds of long work; each app registers its own when it is ready."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, TypeVar

from django.utils.functional import Promise

if TYPE_CHECKING:
    from portal.jobs.models import Job
    from portal.jobs.working import Progress


class JobProblem(Exception):
    """The work cannot be done; the message says why, in words for whoever ordered it."""


class Stopped(Exception):
    """The job was stopped by hand or taken over by another worker: leave everything as it was."""


@dataclass(frozen=True)
class Outcome:
    """What came of a job: a sentence, a page of the portal, a file to fetch (its bytes and a name)."""

    summary: str = ""
    link: str = ""
    content: bytes | None = None
    file_name: str = ""


Handler = Callable[["Job", "Progress"], Outcome | None]
Found = TypeVar("Found", bound=Handler)


@dataclass(frozen=True)
class Kind:
    """One kind: what it is called, what does it, and how long one attempt may take at most.

    What is `is_private` is seen by nobody but whoever ordered it.
    `on_broken` hears of a job that failed or was stopped, in the transaction that marks it so.
    """

    name: str
    label: str | Promise
    handler: Handler
    at_most: timedelta | None = None
    on_broken: Callable[[Job], None] | None = None
    is_private: bool = False


_KINDS: dict[str, Kind] = {}


def job_kind(name: str, *, label: str | Promise, **more: Any) -> Callable[[Found], Found]:
    """Register a handler under `name`; `more` as in `Kind` (at_most, on_broken, is_private).

    The handler is called with the job and with `progress(done, total, step)`, which it calls often: a progress
    saves how far it is, renews the claim for five minutes and raises Stopped. It may be called again for a
    job that was broken off, with `job.done` as it stood, and must then go on or begin anew without harm.
    """

    def register(handler: Found) -> Found:
        _KINDS[name] = Kind(name, label, handler, **more)
        return handler

    return register


def private_kinds() -> list[str]:
    """Names of the kinds that nobody sees but whoever ordered them."""
    return [each.name for each in _KINDS.values() if each.is_private]


def kind_of(name: str) -> Kind | None:
    """The kind of that name, if it is registered."""
    return _KINDS.get(name)
