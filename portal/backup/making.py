"""Make a backup."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from django.db import connection
from django.db.backends.utils import CursorWrapper
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone
from pyrage import x25519

from portal.backup import archive, database, files, sealing
from portal.backup.problems import BackupProblem

PRODUCT, FORMAT = "rifflebook", 1


@dataclass(frozen=True)
class Made:
    """What a backup holds; `missing` are files that a row names and the store has not."""

    rows: int
    files: int
    missing: list[str]
    size: int


def make_backup(path: Path, key: x25519.Recipient, notes: Mapping[str, Any] | None = None) -> Made:
    """Write database and files as of one moment to `path`, a new file; raises BackupProblem, OSError.

    `notes` are kept in the header as they are.
    """
    with database.snapshot() as cursor, _whole_or_not(path) as target:
        about = {**_about(cursor), "notes": dict(notes or {})}
        # Closed on a full disk as well: no transaction ends in the middle of a COPY.
        with closing(_pieces(cursor, about)) as pieces:
            sealing.encrypt(pieces, target, key)
    rows = sum(content["rows"] for content in about["tables"].values())
    return Made(rows, len(about["files"]), about["missing"], path.stat().st_size)


def _about(cursor: CursorWrapper) -> dict[str, Any]:
    columns = database.columns_of_tables(cursor)
    database.lock(cursor, columns)
    sums = database.contents(cursor, columns)
    names = files.named_files(cursor)
    there = [name for name in names if files.is_there(name)]
    return {
        "product": PRODUCT,
        "format": FORMAT,
        "made_at": timezone.now().isoformat(),
        "migrations": sorted(MigrationRecorder(connection).applied_migrations()),
        "tables": {table: {"columns": columns[table], **sums[table]._asdict()} for table in columns},
        "sequences": database.sequences(cursor),
        "files": there,
        "missing": sorted(set(names) - set(there)),
    }


def _pieces(cursor: CursorWrapper, about: dict[str, Any]) -> Generator[bytes, None, None]:
    yield from archive.json_member(archive.ABOUT, about)
    for table, content in about["tables"].items():
        yield from archive.table_members(table, database.rows_out(cursor, table, content["columns"]))
    digests: dict[str, str] = {}
    for name in about["files"]:
        pieces = files.pieces_of(name, digests)
        yield from archive.member(archive.FILES + name, files.size_of(name), pieces)
    yield from archive.json_member(archive.DIGESTS, digests)
    yield archive.END


def require_place(path: Path) -> None:
    """Raise BackupProblem where no new file can stand at `path`."""
    if path.exists():
        raise BackupProblem(f"{path} exists already: a backup never replaces another.")
    if not path.parent.is_dir():
        raise BackupProblem(f"There is no folder {path.parent}.")


@contextmanager
def _whole_or_not(path: Path) -> Iterator[BinaryIO]:
    """A file that only its owner can read, and that takes the name `path` when it is whole and on the disk."""
    require_place(path)
    unfinished = path.with_name(f"{path.name}.unfinished")
    try:
        with open(unfinished, "wb", opener=lambda name, flags: os.open(name, flags, 0o600)) as target:
            yield target
            target.flush()
            os.fsync(target.fileno())
        unfinished.rename(path)
    finally:
        unfinished.unlink(missing_ok=True)
