"""The files that rows name, out of the store and into it again."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import IO

from django.apps import apps
from django.core.exceptions import SuspiciousFileOperation
from django.core.files import File
from django.core.files.storage import default_storage
from django.db.backends.utils import CursorWrapper
from django.db.models import FileField
from psycopg import sql

from portal.backup.problems import BackupProblem

PIECE = 1_048_576


def named_files(cursor: CursorWrapper) -> list[str]:
    """The names of all files that any row names, in order, each once."""
    names: set[str] = set()
    for table, column in sorted(_columns_of_files()):
        query = sql.SQL("SELECT DISTINCT {0} FROM {1} WHERE {0} <> ''")
        cursor.execute(query.format(sql.Identifier(column), sql.Identifier(table)))
        names.update(name for (name,) in cursor.fetchall())
    return sorted(names)


def is_there(name: str) -> bool:
    """Tell whether the store holds the file."""
    return default_storage.exists(name)


def size_of(name: str) -> int:
    """Bytes of a file."""
    return default_storage.size(name)


def pieces_of(name: str, digests: dict[str, str]) -> Iterator[bytes]:
    """The content of a file; its SHA-256 is noted in `digests` at the end."""
    digest = hashlib.sha256()
    with default_storage.open(name, "rb") as file:
        while piece := file.read(PIECE):
            digest.update(piece)
            yield piece
    digests[name] = digest.hexdigest()


def put_back(name: str, content: IO[bytes]) -> str:
    """Store a file under its own name, which `require_free` has found free, and return its SHA-256."""
    noting = _Noting(content, name)
    stored = default_storage.save(name, noting)
    if stored != name:
        default_storage.delete(stored)
        raise BackupProblem(f"{name} came to be while it was restored: empty MEDIA_ROOT and start again.")
    return noting.digest.hexdigest()


def remove(names: list[str]) -> None:
    """Take back what was stored."""
    for name in names:
        default_storage.delete(name)


def require_free(names: list[str]) -> None:
    """Raise BackupProblem when the store holds one of these files already."""
    for name in names:
        if _is_taken(name):
            raise BackupProblem(f"MEDIA_ROOT already holds {name}: set it to an empty folder.")


def _is_taken(name: str) -> bool:
    try:
        return is_there(name)
    except SuspiciousFileOperation:
        raise BackupProblem(f"The backup names a file outside MEDIA_ROOT: {name}.") from None


class _Noting(File[bytes]):
    """Takes the digest of what passes through."""

    def __init__(self, content: IO[bytes], name: str) -> None:
        super().__init__(content, name)
        self.digest = hashlib.sha256()
        self._content = content

    def chunks(self, chunk_size: int | None = None) -> Iterator[bytes]:
        while piece := self._content.read(chunk_size or PIECE):
            self.digest.update(piece)
            yield piece


def _columns_of_files() -> Iterator[tuple[str, str]]:
    for model in apps.get_models(include_auto_created=True):
        for field in model._meta.local_concrete_fields:
            if isinstance(field, FileField) and field.column:
                yield model._meta.db_table, field.column
