"""The suite works as the role that owns no table; what needs the owner says so."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from psycopg.pq import TransactionStatus


def step_down(using: str = DEFAULT_DB_ALIAS) -> None:
    """From now on every connection is that role's."""
    connection = connections[using]
    connection.settings_dict["OPTIONS"]["assume_role"] = settings.DATABASE_ROLE
    _anew(connection)


def step_up(using: str = DEFAULT_DB_ALIAS) -> None:
    """From now on every connection is the owner's again."""
    connection = connections[using]
    connection.settings_dict["OPTIONS"].pop("assume_role")
    _anew(connection)


@contextmanager
def as_owner(using: str = DEFAULT_DB_ALIAS) -> Iterator[None]:
    """The connection of this thread is the owner's for the while, past every policy."""
    if _is_owner(using):
        yield
        return
    _become(using, "NONE")
    try:
        yield
    finally:
        _become(using, settings.DATABASE_ROLE)


def _is_owner(using: str) -> bool:
    connection = connections[using]
    connection.ensure_connection()
    return bool(connection.connection.execute("SELECT current_user = session_user").fetchone()[0])


def _become(using: str, role: str) -> None:
    connection = connections[using]
    connection.ensure_connection()
    # What follows an error is a rollback, and that takes the role back as well.
    if connection.connection.info.transaction_status != TransactionStatus.INERROR:
        connection.connection.execute(f"SET ROLE {role}")


def _anew(connection: BaseDatabaseWrapper) -> None:
    connection.close()
    connection.close_pool()  # type: ignore[attr-defined]
