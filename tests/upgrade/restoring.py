"""A database as an earlier release left it, restored beside that of the tests and brought up to date."""

from __future__ import annotations

import gzip
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
from django.core.management import call_command
from django.db import connection
from psycopg import sql

from portal.embedded.binaries import postgres_programs
from tests.owner import as_owner

HERE = Path(__file__).parent
TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"


def address(database: str) -> str:
    """The server of the tests, by the name of a database on it."""
    return urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{database}").geturl()


@contextmanager
def restored(dump: str) -> Iterator[str]:
    """The name of a database that holds what `dump` (a file beside this one) holds; dropped at the end."""
    name = f"upgraded_{os.getpid()}"
    with psycopg.connect(address("postgres"), autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            _fill(name, gzip.decompress((HERE / dump).read_bytes()))
            yield name
        finally:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def _fill(name: str, statements: bytes) -> None:
    psql = [
        str(postgres_programs() / "psql"),
        "--no-psqlrc",
        "--quiet",
        "--set",
        "ON_ERROR_STOP=1",
        address(name),
    ]
    subprocess.run(psql, input=statements, check=True, stdout=subprocess.DEVNULL, timeout=60)


@contextmanager
def portal_on(database: str) -> Iterator[None]:
    """Django's own connection leads to another database for the while."""
    own = connection.settings_dict["NAME"]
    _lead_to(database)
    try:
        yield
    finally:
        _lead_to(own)


def _lead_to(database: str) -> None:
    connection.close()
    connection.close_pool()  # type: ignore[attr-defined]
    connection.settings_dict["NAME"] = database


def upgrade() -> None:
    """What the operator's `migrate` does."""
    with as_owner():
        call_command("migrate", interactive=False, verbosity=0, skip_checks=True)


def rows_of(database: str) -> dict[str, int]:
    """How many rows each table holds."""
    with psycopg.connect(address(database)) as line:
        names = [
            name for (name,) in line.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        ]
        count = sql.SQL("SELECT count(*) FROM {}")
        return {name: line.execute(count.format(sql.Identifier(name))).fetchone()[0] for name in names}  # type: ignore[index]
