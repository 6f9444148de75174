"""The rows of the whole database, out in one snapshot and in again, with PostgreSQL's COPY."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper
from psycopg import sql

from portal.backup.problems import BackupProblem

# What rows look like as text must not hang on the settings of a server.
SPELLING = (
    "SET LOCAL timezone = 'UTC'; SET LOCAL datestyle = 'ISO'; SET LOCAL intervalstyle = 'postgres';"
    "SET LOCAL extra_float_digits = 1; SET LOCAL bytea_output = 'hex'; SET LOCAL row_security = off"
)
COLUMNS = """
SELECT c.relname, array_agg(a.attname::text ORDER BY a.attname) FROM pg_class c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped AND a.attgenerated = ''
WHERE c.relkind = 'r' AND c.relnamespace = current_schema()::regnamespace GROUP BY c.relname ORDER BY c.relname
"""
SEQUENCES = """
SELECT relname FROM pg_class
WHERE relkind = 'S' AND relnamespace = current_schema()::regnamespace ORDER BY relname
"""
# A sum over the rows, so that their order is no matter; 64 bits of SHA-256 for each.
SUM = """
SELECT count(*), coalesce(sum(('x' || left(encode(sha256(convert_to(ROW({columns})::text, 'UTF8')), 'hex'), 16))
    ::bit(64)::bigint::numeric), 0)::text FROM {table}
"""
# What `migrate` itself writes into a new database.
OF_MIGRATING = {
    "django_migrations",
    "django_content_type",
    "auth_permission",
    "surveys_recordinglist",
    "surveys_listtaxon",
}
Columns = dict[str, list[str]]


class Content(NamedTuple):
    """How many rows a table holds, and the sum that tells whether they are the same."""

    rows: int
    sum: str


@contextmanager
def snapshot() -> Iterator[CursorWrapper]:
    """A cursor that sees one moment of the database, whatever is written meanwhile."""
    with transaction.atomic(durable=True), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        # Without row_security, rows kept from this account are an error and never silently left out.
        cursor.execute(SPELLING)
        yield cursor


@contextmanager
def refilling(columns: Columns) -> Iterator[CursorWrapper]:
    """A cursor with the given tables empty and their triggers at rest; undone whole if anything fails."""
    with transaction.atomic(durable=True), connection.cursor() as cursor:
        cursor.execute(SPELLING)
        # Append-only tables and the history of changes would refuse or note what is put back.
        _each_table(cursor, columns, "ALTER TABLE {} DISABLE TRIGGER USER")
        tables = sql.SQL(", ").join(map(sql.Identifier, columns))
        cursor.execute(sql.SQL("TRUNCATE {}").format(tables))
        yield cursor
        # Foreign keys are looked at now: a trigger cannot be woken while one is still owed.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        _each_table(cursor, columns, "ALTER TABLE {} ENABLE TRIGGER USER")


def columns_of_tables(cursor: CursorWrapper) -> Columns:
    """Every table with its columns, but those that the database reckons itself."""
    cursor.execute(COLUMNS)
    return dict(cursor.fetchall())


def contents(cursor: CursorWrapper, columns: Columns) -> dict[str, Content]:
    """Number of rows and sum of each table."""
    return {table: _content(cursor, table, names) for table, names in columns.items()}


def rows_out(cursor: CursorWrapper, table: str, columns: list[str]) -> Iterator[bytes]:
    """All rows of a table as COPY writes them."""
    # Django gives what `copy` raises no name of its own unless asked.
    with connection.wrap_database_errors, cursor.copy(_copy("COPY {} ({}) TO STDOUT", table, columns)) as copy:
        yield from map(bytes, copy)


def rows_in(cursor: CursorWrapper, table: str, columns: list[str], pieces: Iterable[bytes]) -> None:
    """Add rows as COPY wrote them."""
    with connection.wrap_database_errors, cursor.copy(_copy("COPY {} ({}) FROM STDIN", table, columns)) as copy:
        for piece in pieces:
            copy.write(piece)


def sequences(cursor: CursorWrapper) -> dict[str, tuple[int, bool]]:
    """Where each sequence stands: its last value, and whether that was given out."""
    cursor.execute(SEQUENCES)
    names = [name for (name,) in cursor.fetchall()]
    return {name: _standing(cursor, name) for name in names}


def set_sequences(cursor: CursorWrapper, standing: dict[str, tuple[int, bool]]) -> None:
    """Put each sequence where it stood."""
    for name, (last, given) in standing.items():
        cursor.execute("SELECT setval(quote_ident(%s)::regclass, %s, %s)", [name, last, given])


def require_empty() -> None:
    """Raise BackupProblem when any table holds more than a new database does after `migrate`."""
    with connection.cursor() as cursor:
        tables = columns_of_tables(cursor).keys() - OF_MIGRATING
        filled = [table for table in sorted(tables) if _holds_rows(cursor, table)]
    if filled:
        some = ", ".join(filled[:3])
        raise BackupProblem(f"This database holds rows ({some}): a backup goes only into a new, empty one.")


def lock(cursor: CursorWrapper, columns: Columns) -> None:
    """Keep the tables as they are built until the transaction ends; everybody goes on reading and writing."""
    tables = sql.SQL(", ").join(map(sql.Identifier, columns))
    cursor.execute(sql.SQL("LOCK TABLE {} IN ACCESS SHARE MODE").format(tables))


def _content(cursor: CursorWrapper, table: str, names: list[str]) -> Content:
    cursor.execute(sql.SQL(SUM).format(columns=_names(names), table=sql.Identifier(table)))
    return Content(*cursor.fetchone())


def _standing(cursor: CursorWrapper, name: str) -> tuple[int, bool]:
    cursor.execute(sql.SQL("SELECT last_value, is_called FROM {}").format(sql.Identifier(name)))
    last, given = cursor.fetchone()
    return last, given


def _holds_rows(cursor: CursorWrapper, table: str) -> bool:
    cursor.execute(sql.SQL("SELECT EXISTS (TABLE {})").format(sql.Identifier(table)))
    return bool(cursor.fetchone()[0])


def _each_table(cursor: CursorWrapper, columns: Columns, statement: Any) -> None:
    for table in columns:
        cursor.execute(sql.SQL(statement).format(sql.Identifier(table)))


def _copy(statement: Any, table: str, columns: list[str]) -> sql.Composed:
    return sql.SQL(statement).format(sql.Identifier(table), _names(columns))


def _names(columns: list[str]) -> sql.Composed:
    return sql.SQL(", ").join(map(sql.Identifier, columns))
