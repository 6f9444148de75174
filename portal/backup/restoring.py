"""Restore a backup, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from django.core.management import call_command
from django.db import connection
from django.db.backends.utils import CursorWrapper
from django.db.migrations.loader import MigrationLoader
from pyrage import x25519

from portal.backup import archive, database, files, sealing
from portal.backup.making import FORMAT, PRODUCT
from portal.backup.problems import BackupProblem


@dataclass(frozen=True)
class Restored:
    """What was put back, when it was saved (ISO 8601), and what was noted then."""

    made_at: str
    rows: int
    files: int
    notes: Mapping[str, Any]


def restore_backup(path: Path, key: x25519.Identity) -> Restored:
    """Put database and files back as they were; raises BackupProblem, and then nothing is changed.

    The whole file is checked before anything is touched. The database must be new: it may have its tables.
    """
    about = _checked_about(path, key)
    _require_same_release(about["migrations"])
    database.require_empty()
    files.require_free(about["files"])
    call_command("migrate", interactive=False, verbosity=0, skip_checks=True)
    with _files_undone() as stored:
        _refill(path, key, about, stored)
    rows = sum(content["rows"] for content in about["tables"].values())
    return Restored(about["made_at"], rows, len(about["files"]), about.get("notes", {}))


@dataclass
class _Refill:
    """The members of one archive on their way into the database and the store."""

    cursor: CursorWrapper
    columns: database.Columns
    # Files that may be stored, and those that were begun.
    named: list[str]
    stored: list[str]
    digests: dict[str, str] = field(default_factory=dict)

    def take(self, name: str, content: IO[bytes]) -> None:
        if name.startswith(archive.TABLES):
            table = name.split("/")[1]
            database.rows_in(self.cursor, table, self.columns[table], [content.read()])
        elif name.startswith(archive.FILES):
            self._take_file(name.removeprefix(archive.FILES), content)
        elif name == archive.DIGESTS and json.load(content) != self.digests:
            raise BackupProblem("A file came out otherwise than it was saved.")

    def _take_file(self, name: str, content: IO[bytes]) -> None:
        if self.named[len(self.stored) : len(self.stored) + 1] != [name]:
            raise BackupProblem(f"The backup holds a file that it does not list: {name}.")
        # Noted first: what breaks off half way is to be taken back as well.
        self.stored.append(name)
        self.digests[name] = files.put_back(name, content)


def _refill(path: Path, key: x25519.Identity, about: dict[str, Any], stored: list[str]) -> None:
    columns = {table: content["columns"] for table, content in about["tables"].items()}
    with connection.cursor() as cursor:
        if database.columns_of_tables(cursor) != columns:
            raise BackupProblem("The tables of this database are not those of the backup.")
    with database.refilling(columns) as cursor:
        refill = _Refill(cursor, columns, about["files"], stored)
        with sealing.decrypted(path, key) as stream:
            for name, content in archive.members(stream):
                refill.take(name, content)
        database.set_sequences(cursor, about["sequences"])
        _require_equal(about, database.contents(cursor, columns), stored)


def _require_equal(about: dict[str, Any], found: dict[str, database.Content], stored: list[str]) -> None:
    saved = {
        table: database.Content(content["rows"], content["sum"]) for table, content in about["tables"].items()
    }
    if different := [table for table in saved if saved[table] != found[table]]:
        raise BackupProblem(f"{different[0]} came out otherwise than it was saved.")
    if stored != about["files"]:
        raise BackupProblem("Not all files came out of the backup.")


def _checked_about(path: Path, key: x25519.Identity) -> dict[str, Any]:
    """What the archive says of itself, when all of it has been read and found unchanged."""
    with sealing.decrypted(path, key) as stream:
        name, content = next(archive.members(stream), (None, None))
        about: dict[str, Any] = json.load(content) if content and name == archive.ABOUT else {}
    if about.get("product") != PRODUCT or about.get("format") != FORMAT:
        raise BackupProblem(f"{path} is no backup that this release of Rifflebook can read.")
    return about


def _require_same_release(saved: list[list[str]]) -> None:
    # Stale names of migrations that have gone since are no matter of ours.
    known = set(MigrationLoader(None).disk_migrations)
    done = {(app, name) for app, name in saved}
    if odd := sorted(known ^ done):
        whose = "this release" if odd[0] in known else "the backup"
        raise BackupProblem(
            f"The backup was made by another release (only {whose} has {'.'.join(odd[0])}): restore it with "
            "that release, then upgrade."
        )


@contextmanager
def _files_undone() -> Iterator[list[str]]:
    """Names noted in the list are removed from the store when anything fails."""
    stored: list[str] = []
    try:
        yield stored
    except BaseException:
        files.remove(stored)
        raise
