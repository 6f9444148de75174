"""Queries whose SQL is worked out once: for most of a page's time Django writes the same statements anew.

    @prepared
    def _sites_of(group: Group, today: date) -> QuerySet[Site]:
        return Site.objects.of_group(group).filter(...)

    rows = _sites_of(group, timezone.localdate())

The function is called twice, with stand-ins of the same kinds as its arguments, when the query is first asked;
from then on the statement is kept and only the values in it change. So everything that changes must be handed
over: the function gets a record with nothing but its key, must not look at the clock, and may make of a value
nothing but a day or moment so much later or earlier. Whatever it does besides is found by comparing the two
statements, and refused.
The second wall and what `scoping` asks for hold as for any other query.

What it saves: of the desk's processor time three quarters, of a site's and a review's page more than two
fifths, of the form's a sixth (November 2026, ten groups of ten years, off against on). What it leans on, and an
upgrade of Django may change: `Query.get_compiler`, `SQLCompiler.as_sql`, `uses_server_side_binding` and the
three attributes of a queryset that `_with_query` sets. `tests/accounts/test_prepared.py` and
`tests/access/test_ceilings.py` hold it to what Django finds by itself. With `settings.KEEPS_STATEMENTS` off
everything goes Django's own way.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from contextlib import nullcontext
from copy import copy
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from functools import update_wrapper
from inspect import signature
from typing import Any, Generic, ParamSpec, TypeVar
from uuid import UUID, uuid4

from django.conf import settings
from django.core.exceptions import EmptyResultSet
from django.db import connections, models
from django.utils import translation

P = ParamSpec("P")
T = TypeVar("T")
# Where in a statement's parameters the values go: the place of each among all values, and how much is added.
Slots = Mapping[int, tuple[int, timedelta | None]]
MOST_PLANS = 200
# Stand-ins for days lie long after anything that is recorded, and far from each other, in days.
FAR, APART, REACH = date(3000, 1, 1).toordinal(), 40_000, timedelta(days=15_000)


class NotPreparable(RuntimeError):
    """A query that depends on more than what is handed to it."""


@dataclass(frozen=True)
class Plan:
    """A statement with its parameters, and the queryset and compiler that know what to make of its rows."""

    rows: models.QuerySet[Any, Any]
    compiler: Any
    sql: str
    params: tuple[Any, ...]
    slots: Slots
    is_planned_once: bool

    def asked(self, values: list[Any]) -> list[Any]:
        """What the query finds with these values in place of the stand-ins."""
        if not self.sql:
            return []
        params = list(self.params)
        for place, (at, added) in self.slots.items():
            params[place] = values[at] if added is None else values[at] + added
        compiler = copy(self.compiler)
        # Each thread has a connection of its own.
        compiler.connection = connections[self.rows.db]
        compiler.as_sql = lambda *_how, **_named: (self.sql, tuple(params))
        query = copy(self.rows.query)
        query.get_compiler = lambda *_where, **_named: compiler  # type: ignore[method-assign]
        with compiler.connection.plans_kept() if self.is_planned_once else nullcontext():
            return list(_with_query(self.rows, query))


def _statement(compiler: Any) -> tuple[str, tuple[Any, ...]]:
    """The statement, with the kind of a value where PostgreSQL, which gets it by itself, could not tell it."""
    features = vars(compiler.connection.features)
    before = features.get("uses_server_side_binding", False)
    features["uses_server_side_binding"] = True
    try:
        found: tuple[str, tuple[Any, ...]] = compiler.as_sql()
        return found
    finally:
        features["uses_server_side_binding"] = before


def _with_query(rows: models.QuerySet[Any, Any], query: Any) -> models.QuerySet[Any, Any]:
    """The same queryset, not yet fetched, without the cost of a clone."""
    made = object.__new__(type(rows))
    vars(made).update(vars(rows), _query=query, _result_cache=None, _prefetch_done=False)
    return made


class Prepared(Generic[P, T]):
    """A function that makes a query, called for its rows."""

    def __init__(self, build: Callable[P, models.QuerySet[Any, T]], *, is_planned_once: bool = False) -> None:
        self.build, self.is_planned_once = build, is_planned_once
        self._signature = signature(build)
        self._plans: dict[tuple[Any, ...], Plan] = {}
        update_wrapper(self, build)

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> list[T]:
        """The rows, as a list."""
        if not settings.KEEPS_STATEMENTS:
            return list(self.build(*args, **kwargs))
        words = args if not kwargs else self._signature.bind(*args, **kwargs).args
        values: list[Any] = []
        shape = tuple(_kind(each, values) for each in words)
        plan = self._plans.get(shape)
        if plan is None:
            if len(self._plans) >= MOST_PLANS:
                self._plans.clear()
            plan = self._plans[shape] = self._prepared(words)
        return plan.asked(values)

    def plainly(self, *args: P.args, **kwargs: P.kwargs) -> models.QuerySet[Any, T]:
        """The query as any other, to go on with or to compare with."""
        return self.build(*args, **kwargs)

    def _prepared(self, words: tuple[Any, ...]) -> Plan:
        languages = [code for code, _name in settings.LANGUAGES]
        first, second = (self._built(words, language) for language in (languages[0], languages[-1]))
        if first.sql != second.sql or len(first.params) != len(second.params):
            raise NotPreparable(f"{self.build.__qualname__}: its statement changes from one time to the next.")
        for place, (one, other) in enumerate(zip(first.params, second.params, strict=True)):
            if place in first.slots and first.slots[place] == second.slots.get(place):
                continue
            # A day that is the same both times was read from the clock.
            if one != other or isinstance(one, date):
                raise NotPreparable(f"{self.build.__qualname__}: hand over what it makes {one!r} of.")
        return first

    def _built(self, words: tuple[Any, ...], language: str) -> Plan:
        stand_ins: list[Any] = []
        with translation.override(language):
            build: Callable[..., models.QuerySet[Any, Any]] = self.build
            rows = build(*[_stand_in(each, stand_ins) for each in words])
            compiler = rows.query.get_compiler(using=rows.db)
            try:
                sql, params = _statement(compiler) if self.is_planned_once else compiler.as_sql()
            except EmptyResultSet:
                # Nothing can be found: one of none, say. Django asks nobody then.
                sql, params = "", ()
        return Plan(rows, compiler, sql, tuple(params), dict(_slots(params, stand_ins)), self.is_planned_once)


def prepared(build: Callable[P, models.QuerySet[Any, T]]) -> Prepared[P, T]:
    """Keep the statement of the query that `build` makes."""
    return Prepared(build)


def planned(build: Callable[P, models.QuerySet[Any, T]]) -> Prepared[P, T]:
    """The same, and let PostgreSQL keep its plan as well: for what takes longer to plan than to find.

    The plan must be right whatever is asked for, as it is for a few rows that are found by an index.
    """
    return Prepared(build, is_planned_once=True)


def _slots(params: tuple[Any, ...], stand_ins: list[Any]) -> Iterator[tuple[int, tuple[int, timedelta | None]]]:
    for place, each in enumerate(params):
        for at, stand_in in enumerate(stand_ins):
            if isinstance(stand_in, date) and type(each) is type(stand_in):
                if abs(each - stand_in) < REACH:
                    yield place, (at, each - stand_in)
            elif isinstance(each, str | UUID) and each == stand_in:
                yield place, (at, None)


def _kind(value: Any, values: list[Any]) -> Any:
    """What of an argument bears on the statement; what of it goes in as a value is added to `values`."""
    if isinstance(value, models.Model):
        values.append(value.pk)
        return value.__class__
    if isinstance(value, tuple):
        return tuple(_kind(each, values) for each in value)
    if _bears_on_it(value):
        return type(value), value
    values.append(value)
    return type(value)


def _bears_on_it(value: Any) -> bool:
    """Whether another value makes another statement: few of them are ever asked with."""
    return value is None or isinstance(value, int | Enum)


def _stand_in(value: Any, made: list[Any]) -> Any:
    if isinstance(value, models.Model):
        made.append(_of_kind(value.pk, len(made)))
        return value.__class__.from_db("default", [value._meta.pk.attname], [made[-1]])
    if isinstance(value, tuple):
        return tuple(_stand_in(each, made) for each in value)
    if _bears_on_it(value):
        return value
    made.append(_of_kind(value, len(made)))
    return made[-1]


def _of_kind(value: Any, place: int) -> Any:
    """A value of that kind which nothing else has."""
    if isinstance(value, UUID):
        return uuid4()
    if isinstance(value, str):
        return uuid4().hex
    if not isinstance(value, date):
        raise NotPreparable(f"{type(value).__name__} cannot be handed over to a prepared query.")
    day = date.fromordinal(FAR + place * APART + random.randrange(1000))  # noqa: S311
    return datetime.combine(day, time(1, 2, 3), UTC) if isinstance(value, datetime) else day
