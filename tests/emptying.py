"""After a test that commits, the tables it has written are emptied row by row.

Django truncates every table and announces all migrations anew, which takes twenty times as long for the few
rows of a test. Content types and permissions stay: no test changes them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.test import TransactionTestCase

from tests.owner import as_owner

KEPT = {"django_content_type", "auth_permission", "django_migrations"}
_flush = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]


def empty_after_tests() -> None:
    """Have Django's tests that commit end so."""
    TransactionTestCase._fixture_teardown = _empty_or_flush  # type: ignore[attr-defined]


def _empty_or_flush(case: TransactionTestCase) -> None:
    with as_owner():
        if may_pass_triggers():
            empty_tables()
        else:
            _flush(case)


def may_pass_triggers(using: str = DEFAULT_DB_ALIAS) -> bool:
    """Tell whether this account may delete what triggers keep: the owner of a private server may."""
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
        return bool(cursor.fetchone()[0])


def empty_tables(using: str = DEFAULT_DB_ALIAS) -> None:
    """Delete all rows but those of `KEPT`, past every trigger and foreign key."""
    connection = connections[using]
    tables = [connection.ops.quote_name(each) for each in connection.introspection.table_names()]
    tables = [each for each in tables if each.strip('"') not in KEPT]
    with transaction.atomic(using), connection.cursor() as cursor:
        # Waits for requests that are still being answered, as truncating does; their rows go as well.
        cursor.execute(f"LOCK TABLE {', '.join(tables)}")
        cursor.execute(" UNION ALL ".join(f"SELECT '{each}' WHERE EXISTS (TABLE {each})" for each in tables))
        written = [table for (table,) in cursor.fetchall()]
        cursor.execute("SET LOCAL session_replication_role = replica")
        for table in written:
            cursor.execute(f"DELETE FROM {table}")


@contextmanager
def past_triggers(using: str = DEFAULT_DB_ALIAS) -> Iterator[None]:
    """What a superuser of the database does: triggers and foreign keys are at rest inside."""
    with as_owner(using), transaction.atomic(using), connections[using].cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield
        cursor.execute("SET LOCAL session_replication_role = origin")
