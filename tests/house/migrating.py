"""Which statements of a migration code of the release before does not live with.

Statements are judged by django-migration-linter, and by two rules of ours for what it does not know. Whoever
must do such a thing all the same says in the migration why old code does not mind:

    with_old_code = {"DROP_COLUMN": "0.3: nothing has read or written it since 0.2."}
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from functools import cache

from django.apps import apps
from django.db import connection
from django.db.migrations import Migration
from django.db.migrations.loader import MigrationLoader
from django_migration_linter.sql_analyser.base import Check, CheckMode, CheckType
from django_migration_linter.sql_analyser.postgresql import PostgresqlAnalyser

from tests.house.source import PROJECT

OURS = ("portal", "surveys", "alerts")
# A release, then why.
EXCUSE = re.compile(r"^\d+\.\d+(\.\d+)?: \w.{15,}", re.DOTALL)
MADE = re.compile(r'CREATE TABLE "?(\w+)"?')
ALTERED = re.compile(r'ALTER TABLE "?(\w+)"? ADD CONSTRAINT .*(?:CHECK|FOREIGN KEY|EXCLUDE)')


def adds_constraint(statements: list[str], **_others: object) -> bool:
    """Whether a table that was there is held to more than before, and locked while all its rows are read."""
    made = {name for each in statements for name in MADE.findall(each)}
    added = [(name, each) for each in statements for name in ALTERED.findall(each)]
    return any(name not in made and "NOT VALID" not in each for name, each in added)


def forbids_empty(statement: str, **_others: object) -> bool:
    """Whether a column may no longer be empty, which old code may leave it."""
    return bool(re.search(r"ALTER COLUMN .* SET NOT NULL", statement))


class Analyser(PostgresqlAnalyser):
    """The linter's rules and ours; a warning counts like an error."""

    migration_checks = [
        *PostgresqlAnalyser.migration_checks,
        Check(
            "ADD_CONSTRAINT",
            adds_constraint,
            "constraint on a table that is there",
            CheckMode.TRANSACTION,
            CheckType.ERROR,
        ),
        Check(
            "SET_NOT_NULL", forbids_empty, "column may no longer be empty", CheckMode.ONE_LINER, CheckType.ERROR
        ),
    ]


def dangers(statements: Iterable[str]) -> set[str]:
    """The codes of what old code would not live with."""
    analyser = Analyser(None)
    analyser.analyse([each for each in statements if not each.startswith("--")])
    return {issue.code for issue in (*analyser.errors, *analyser.warnings)}


def new_migrations() -> Iterator[Migration]:
    """Our migrations that the last release did not have."""
    loader = MigrationLoader(connection)
    released = tomllib.loads((PROJECT / "tests" / "house" / "released.toml").read_text())["migrations"]
    old = {node for key in released.items() for node in loader.graph.forwards_plan(key)}
    for key, migration in loader.disk_migrations.items():
        if apps.get_app_config(key[0]).name.split(".")[0] in OURS and key not in old:
            yield migration


@cache
def statements_of(migration: Migration) -> list[str]:
    """The SQL of one migration, as `sqlmigrate` prints it."""
    loader = MigrationLoader(connection, replace_migrations=False)
    statements: list[str] = loader.collect_sql(
        [(loader.graph.nodes[migration.app_label, migration.name], False)]
    )
    return (["BEGIN;"] if migration.atomic else []) + statements


def unexcused(migration: Migration) -> set[str]:
    """What is neither harmless nor explained in the migration."""
    excuses = getattr(migration, "with_old_code", {})
    return {code for code in dangers(statements_of(migration)) if not EXCUSE.match(excuses.get(code, ""))}
