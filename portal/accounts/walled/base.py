"""The connection that tells the database whose rows may come out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db.backends.postgresql import base
from psycopg import sql
from psycopg.pq import TransactionStatus

from portal.accounts.walls import SETTING, told_now

# A statement asked so often on one connection is planned once for all times after.
PLANNED_AFTER = 2


class DatabaseWrapper(base.DatabaseWrapper):
    """Tells before a query, and only when it is not what was told last on this very connection."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._told: str | None = None
        self._keeps_plans = False
        self.execute_wrappers.append(self._in_scope)

    def get_new_connection(self, conn_params: dict[str, Any]) -> Any:
        # One from the pool still has what was told for whoever had it before.
        self._told = None
        made = super().get_new_connection(conn_params)
        made.prepare_threshold = PLANNED_AFTER
        return made

    def _configure_role(self, connection: Any) -> bool:
        # Django's own asks its own connection how to write the name, and that one is only being made here.
        role = self.settings_dict["OPTIONS"].get("assume_role")
        if role:
            connection.execute(sql.SQL("SET ROLE {}").format(sql.Identifier(role)))
        return bool(role)

    def create_cursor(self, name: str | None = None) -> Any:
        # For COPY, which passes by what runs around a query.
        self._tell()
        # Not with the cursors of whoever traces queries.
        is_plain = self.connection.cursor_factory is base.Cursor
        if not (self._keeps_plans and is_plain and not self.queries_logged):
            return super().create_cursor(name)
        self.connection.cursor_factory = base.ServerBindingCursor
        try:
            return super().create_cursor(name)
        finally:
            self.connection.cursor_factory = base.Cursor

    @contextmanager
    def plans_kept(self) -> Iterator[None]:
        """Statements asked inside are planned once on this connection, and their values sent apart from them.

        Not while queries are logged: whoever looks at them wants to see the values where they stand.
        """
        self._keeps_plans = True
        try:
            yield
        finally:
            self._keeps_plans = False

    def _in_scope(self, execute: Callable[..., Any], *query: Any) -> Any:
        self._tell()
        return execute(*query)

    def _tell(self) -> None:
        scope = told_now()
        if scope == self._told or self.connection is None:
            return
        # After an error nothing but the end of the transaction is possible, and that needs no scope.
        if self.connection.info.transaction_status == TransactionStatus.INERROR:
            return
        with self.wrap_database_errors:
            # Not by set_config, which is a query: a transaction's isolation must be said before its first one.
            self.connection.execute(sql.SQL("SET {} TO {}").format(sql.SQL(SETTING), sql.Literal(scope)))
        self._told = scope

    def _rollback(self) -> None:
        # The setting goes back with everything else to what it was before.
        self._told = None
        parent: Any = super()
        parent._rollback()

    def _savepoint_rollback(self, sid: str) -> None:
        parent: Any = super()
        parent._savepoint_rollback(sid)
        self._told = None
