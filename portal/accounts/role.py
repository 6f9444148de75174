"""The role that web server, worker and scheduler work as: it owns no table, so that the policies hold for it.

Made and given its rights after each run of migrations, together with the policies. The owner, who migrates,
saves and restores, is not held up by them: they are not FORCEd, for a data migration would find no rows and a
backup would fail.
"""

from __future__ import annotations

from contextlib import suppress

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import connections, transaction
from django.db.backends.utils import CursorWrapper
from django.db.utils import IntegrityError, ProgrammingError
from psycopg import sql

from portal.accounts.policies import Policy, all_policies

COLUMNS = """
SELECT c.relname, a.attname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0
WHERE c.relkind = 'r' AND c.relnamespace = current_schema()::regnamespace AND NOT a.attisdropped
"""
POLICIES = """
SELECT c.relname, p.polname, coalesce(obj_description(p.oid, 'pg_policy'), '') FROM pg_policy p
JOIN pg_class c ON c.oid = p.polrelid WHERE c.relnamespace = current_schema()::regnamespace
"""
OPEN_TABLES = """
SELECT relname FROM pg_class
WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace AND NOT relrowsecurity
"""
GRANTS = """
GRANT USAGE ON SCHEMA {schema} TO {role};
GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA {schema} TO {role};
GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA {schema} TO {role};
"""
# What the role may only read, or only add to: beside the triggers a wall of its own.
LESS = {
    "django_migrations": "INSERT, UPDATE, DELETE",
    # Changed by erasing alone, of which the database makes sure.
    "audit_auditentry": "DELETE",
    "audit_rowchange": "INSERT, DELETE",
    "audit_link": "UPDATE, DELETE",
}
# The history is written by the database, whatever the role may see or write itself.
OF_THE_OWNER = ("audit_note_change", "audit_note_added")
PASSES = """
SELECT rolsuper OR rolbypassrls OR EXISTS (
    SELECT FROM pg_class
    WHERE relowner = r.oid AND relkind = 'r' AND relnamespace = current_schema()::regnamespace
) FROM pg_roles r WHERE rolname = %s
"""


def raise_the_wall(using: str = "default") -> list[str]:
    """Bring role, rights and policies to the database; returns the policies that were new or changed."""
    with transaction.atomic(using), connections[using].cursor() as cursor:
        _make_role(cursor, settings.DATABASE_ROLE, settings.DATABASE_ROLE_PASSWORD)
        _require_held(cursor, settings.DATABASE_ROLE)
        made = _make_policies(cursor)
        _give_rights(cursor, settings.DATABASE_ROLE)
    return made


def _make_role(cursor: CursorWrapper, role: str, password: str) -> None:
    cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role])
    if cursor.fetchone() is None:
        # Somebody who makes another database of the same server may be quicker.
        with suppress(ProgrammingError, IntegrityError), transaction.atomic(using=cursor.db.alias):
            cursor.execute(sql.SQL("CREATE ROLE {}").format(sql.Identifier(role)))
    if password:
        login = sql.SQL("ALTER ROLE {} LOGIN PASSWORD {}")
        cursor.execute(login.format(sql.Identifier(role), sql.Literal(password)))
        return
    # Whoever signs in as the owner and steps down needs to be let.
    cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
    if not cursor.fetchone()[0]:
        cursor.execute(sql.SQL("GRANT {} TO CURRENT_USER").format(sql.Identifier(role)))


def _require_held(cursor: CursorWrapper, role: str) -> None:
    """Raise ImproperlyConfigured for a role for which no policy would hold."""
    cursor.execute(PASSES, [role])
    if cursor.fetchone()[0]:
        raise ImproperlyConfigured(
            f"The role {role} is a superuser, may pass row-level security or owns tables: no policy holds it."
            " Let DATABASE_URL sign in as a role without these, and DATABASE_OWNER_URL as the owner."
        )


def _make_policies(cursor: CursorWrapper) -> list[str]:
    cursor.execute(COLUMNS)
    columns = set(cursor.fetchall())
    cursor.execute(POLICIES)
    there = {(table, name): mark for table, name, mark in cursor.fetchall()}
    # Migrations may be run one by one: a table of a later one is guarded once it is there.
    wanted = {(each.table, each.name): each for each in all_policies() if each.needs <= columns}
    for table, name in there.keys() - wanted.keys():
        cursor.execute(sql.SQL("DROP POLICY {} ON {}").format(sql.Identifier(name), sql.Identifier(table)))
    changed = [each for key, each in wanted.items() if there.get(key) != each.mark]
    for each in changed:
        _make_policy(cursor, each)
    _close_tables(cursor, {each.table for each in wanted.values()})
    return [f"{each.name} on {each.table}" for each in changed]


def _make_policy(cursor: CursorWrapper, policy: Policy) -> None:
    names = {"name": sql.Identifier(policy.name), "table": sql.Identifier(policy.table)}
    cursor.execute(sql.SQL("DROP POLICY IF EXISTS {name} ON {table}").format(**names))
    cursor.execute(sql.SQL("CREATE POLICY {name} ON {table} FOR " + policy.rule).format(**names))
    mark = sql.SQL("COMMENT ON POLICY {name} ON {table} IS {mark}")
    cursor.execute(mark.format(**names, mark=sql.Literal(policy.mark)))


def _close_tables(cursor: CursorWrapper, tables: set[str]) -> None:
    cursor.execute(OPEN_TABLES)
    for (table,) in cursor.fetchall():
        if table in tables:
            cursor.execute(sql.SQL("ALTER TABLE {} ENABLE ROW LEVEL SECURITY").format(sql.Identifier(table)))


def _give_rights(cursor: CursorWrapper, role: str) -> None:
    cursor.execute("SELECT current_schema()")
    names = {"schema": sql.Identifier(cursor.fetchone()[0]), "role": sql.Identifier(role)}
    cursor.execute(sql.SQL(GRANTS).format(**names))
    cursor.execute(COLUMNS)
    tables = {table for table, _column in cursor.fetchall()}
    for table in LESS.keys() & tables:
        less = sql.SQL("REVOKE " + LESS[table] + " ON {} FROM {}")
        cursor.execute(less.format(sql.Identifier(table), names["role"]))
    for function in OF_THE_OWNER:
        _run_as_owner(cursor, function, names["schema"])


def _run_as_owner(cursor: CursorWrapper, function: str, schema: sql.Identifier) -> None:
    cursor.execute(
        "SELECT 1 FROM pg_proc WHERE proname = %s AND pronamespace = current_schema()::regnamespace", [function]
    )
    if cursor.fetchone():
        # A path of its own, so that nobody can put a table of theirs in the place of ours.
        become = sql.SQL("ALTER FUNCTION {}() SECURITY DEFINER SET search_path = {}, pg_temp")
        cursor.execute(become.format(sql.Identifier(function), schema))
