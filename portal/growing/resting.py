"""Keys, indexes and triggers of large tables laid aside while rows go in, and then made again.

An index made of sorted rows takes a fraction of the time that adding row by row takes, and the foreign keys are
checked as one join. Whatever goes wrong, the transaction takes it all back: no key is ever missing afterwards.
Triggers rest too: the history of changes is written with the rows, as it would have been noted on the days.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import NamedTuple

from django.db import connection, models
from django.db.backends.utils import CursorWrapper
from psycopg import sql

CONSTRAINTS = """
SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint
WHERE conrelid = %s::regclass AND contype IN ('u', 'f') ORDER BY contype DESC, conname
"""
INDEXES = """
SELECT c.relname, pg_get_indexdef(c.oid) FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
WHERE i.indrelid = %s::regclass AND NOT EXISTS (SELECT FROM pg_constraint WHERE conindid = c.oid)
ORDER BY c.relname
"""
# For this transaction alone; sorting for an index in memory, and no wait for the disk at each step.
SETTINGS = "SET LOCAL maintenance_work_mem = '512MB'"


class Laid(NamedTuple):
    """What was laid aside of one table: names and definitions."""

    table: str
    constraints: Sequence[tuple[str, str]]
    indexes: Sequence[tuple[str, str]]


@contextmanager
def resting(*large: type[models.Model]) -> Iterator[None]:
    """Rows added inside meet no index, key or trigger but primary keys and checks; all are back at the end."""
    with connection.cursor() as cursor:
        cursor.execute(SETTINGS)
        laid = [_lay_aside(cursor, each._meta.db_table) for each in large]
        yield
        for each in laid:
            _make_again(cursor, each)


@contextmanager
def untold(*tables: type[models.Model]) -> Iterator[None]:
    """Rows added inside set off no trigger of ours."""
    with connection.cursor() as cursor:
        _each(cursor, "ALTER TABLE {} DISABLE TRIGGER USER", tables)
        yield
        # A trigger cannot be woken while a key of its table is still to be looked at.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        _each(cursor, "ALTER TABLE {} ENABLE TRIGGER USER", tables)
        cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def tidy(*tables: type[models.Model]) -> None:
    """What the database would have done over the years: statistics, and which pages everybody sees."""
    how = "ANALYZE {}" if connection.in_atomic_block else "VACUUM (ANALYZE) {}"
    with connection.cursor() as cursor:
        _each(cursor, how, tables)


def _lay_aside(cursor: CursorWrapper, table: str) -> Laid:
    cursor.execute(CONSTRAINTS, [table])
    constraints = cursor.fetchall()
    cursor.execute(INDEXES, [table])
    laid = Laid(table, constraints, cursor.fetchall())
    for name, _definition in laid.constraints:
        cursor.execute(_about(table, name, "ALTER TABLE {} DROP CONSTRAINT {}"))
    for name, _definition in laid.indexes:
        cursor.execute(sql.SQL("DROP INDEX {}").format(sql.Identifier(name)))
    return laid


def _make_again(cursor: CursorWrapper, laid: Laid) -> None:
    for _name, definition in laid.indexes:
        cursor.execute(definition)
    for name, definition in laid.constraints:
        cursor.execute(_about(laid.table, name, "ALTER TABLE {} ADD CONSTRAINT {} ") + sql.SQL(definition))


def _about(table: str, name: str, statement: str) -> sql.Composed:
    return sql.SQL(statement).format(sql.Identifier(table), sql.Identifier(name))


def _each(cursor: CursorWrapper, statement: str, tables: Sequence[type[models.Model]]) -> None:
    for each in tables:
        cursor.execute(sql.SQL(statement).format(sql.Identifier(each._meta.db_table)))
