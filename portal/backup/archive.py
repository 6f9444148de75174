"""The content of a backup: a plain tar, written and read as a stream.

`about.json` first; then the rows of each table as `tables/NAME/NUMBER`, pieces of PostgreSQL's COPY text; then
`files/NAME`; last `digests.json`, SHA-256 of each file.
"""

from __future__ import annotations

import json
import tarfile
from collections.abc import Iterable, Iterator
from typing import IO, Any, BinaryIO

from portal.backup.problems import BackupProblem

ABOUT, DIGESTS, TABLES, FILES = "about.json", "digests.json", "tables/", "files/"
END = bytes(2 * tarfile.BLOCKSIZE)
# Rows come one by one; a member of the archive holds about this many bytes of them.
PIECE = 1_048_576


def member(name: str, size: int, pieces: Iterable[bytes]) -> Iterator[bytes]:
    """One member as bytes; `pieces` must come to `size` bytes together."""
    info = tarfile.TarInfo(name)
    info.size, info.mode = size, 0o600
    yield info.tobuf(tarfile.PAX_FORMAT)
    for piece in pieces:
        size -= len(piece)
        yield piece
    if size:
        raise BackupProblem(f"{name} was changed while it was read: start again.")
    yield bytes(-info.size % tarfile.BLOCKSIZE)


def json_member(name: str, content: Any) -> Iterator[bytes]:
    """A member of JSON."""
    text = json.dumps(content, indent=1).encode()
    return member(name, len(text), [text])


def table_members(table: str, rows: Iterable[bytes]) -> Iterator[bytes]:
    """The rows of one table, as many to a member as make up a piece."""
    for number, piece in enumerate(_gathered(rows)):
        yield from member(f"{TABLES}{table}/{number:06}", len(piece), [piece])


def _gathered(rows: Iterable[bytes]) -> Iterator[bytes]:
    piece = bytearray()
    for row in rows:
        piece += row
        if len(piece) >= PIECE:
            yield bytes(piece)
            piece.clear()
    if piece:
        yield bytes(piece)


def members(stream: BinaryIO) -> Iterator[tuple[str, IO[bytes]]]:
    """Name and content of each member in turn; a content is to be read before the next is asked for."""
    try:
        with tarfile.open(fileobj=stream, mode="r|") as archive:
            for info in archive:
                content = archive.extractfile(info) if info.isfile() else None
                if content is None:
                    raise BackupProblem(f"The backup holds {info.name}, which is no file.")
                yield info.name, content
                # Else an archive of many files would be remembered whole.
                archive.members = []  # type: ignore[attr-defined]
    except tarfile.TarError:
        raise BackupProblem("What was decrypted is no backup of Rifflebook.") from None
