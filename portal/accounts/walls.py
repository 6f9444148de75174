"""The second wall: which groups' rows the database gives out, whatever a query asks for.

PostgreSQL holds a policy for each table that belongs to a group (`policies.py`) and reads from the connection
whose rows may come out. What stands here says so: a request and a task begin with nothing and admit the groups
that they have found a right to; the portal's own work over all groups says `wide` and why. Nothing said:
nothing comes out.
"""

from __future__ import annotations

import contextvars
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any, ParamSpec, TypeVar
from uuid import UUID

P = ParamSpec("P")
T = TypeVar("T")
# What policies read from the connection: numbers of groups with commas between, nothing, or the word for all.
SETTING = "rifflebook.groups"
NOTHING, EVERYTHING = "", "all"


class Scope:
    """The groups whose rows may come out, within the scope that it stands in for a while."""

    def __init__(
        self, groups: Iterable[UUID] = (), *, is_wide: bool = False, below: Scope | None = None
    ) -> None:
        self.groups, self.is_wide, self.below = set(groups), is_wide, below
        self._told: str | None = EVERYTHING if is_wide else None

    @property
    def told(self) -> str:
        """What the database is told."""
        if self._told is None:
            self._told = ",".join(sorted(map(str, self.groups)))
        return self._told

    def add(self, groups: Iterable[UUID]) -> None:
        self.groups.update(groups)
        self._told = None


_present: ContextVar[Scope | None] = ContextVar("rifflebook_scope", default=None)


def told_now() -> str:
    """What the database is to be told before the next query."""
    scope = _present.get()
    return NOTHING if scope is None else scope.told


@contextmanager
def closed() -> Iterator[None]:
    """No group's rows come out until one is admitted: so begin requests and tasks."""
    with _inside(Scope()):
        yield


@contextmanager
def within(*groups: UUID) -> Iterator[None]:
    """Only the rows of these groups come out, whatever came out before."""
    with _inside(Scope(groups, below=_present.get())):
        yield


@contextmanager
def wide(reason: str) -> Iterator[None]:
    """Every group's rows come out, for the portal's own work; `reason` is for the reader."""
    if not reason:
        raise ValueError("Say why all groups are opened.")
    with _inside(Scope(is_wide=True, below=_present.get())):
        yield


def admit(*groups: UUID) -> None:
    """Let these groups' rows come out as well until the request or task ends: a right to them was found."""
    scope = _present.get()
    while scope is not None and scope.is_wide:
        scope = scope.below
    if scope is not None:
        scope.add(groups)


def shut() -> None:
    """Take back what was admitted so far: the request turns out to be somebody else's, or nobody's."""
    scope = _present.get()
    if scope is not None and not scope.is_wide:
        scope.groups.clear()
        scope.add(())


def opens(reason: str) -> Callable[[Callable[P, T]], Callable[P, T]]:
    """Let a function look among all groups' rows; the groups of what it finds are admitted.

    For what is found by a secret or by a public address: the function answers only with what may be seen.
    """

    def decorate(find: Callable[P, T]) -> Callable[P, T]:
        @wraps(find)
        def finding(*words: P.args, **named: P.kwargs) -> T:
            with wide(reason):
                found = find(*words, **named)
                groups = set(groups_of(found))
            admit(*groups)
            return found

        return finding

    return decorate


def groups_of(found: Any) -> Iterator[UUID]:
    """The groups that what was found belongs to: a record, several, or nothing."""
    if isinstance(found, list | tuple):
        for each in found:
            yield from groups_of(each)
    elif found is not None:
        *way, _group = str(getattr(found, "group_path", "group")).split("__")
        for step in way:
            found = getattr(found, step)
        number = getattr(found, "group_id", None)
        if number is not None:
            yield number


def carried(call: Callable[..., Any]) -> Callable[..., Any]:
    """`call` for a thread of its own, with what is admitted here; a thread begins with nothing otherwise."""
    context = contextvars.copy_context()

    def run(*words: Any, **named: Any) -> Any:
        return context.run(call, *words, **named)

    return run


@contextmanager
def _inside(scope: Scope) -> Iterator[None]:
    before = _present.set(scope)
    try:
        yield
    finally:
        _present.reset(before)
