"""Tell whether the static files must be collected again: compressing them takes most of a start's time."""

import hashlib
import sysconfig
from collections.abc import Iterator
from pathlib import Path

from portal.embedded.place import PROJECT


def fingerprint() -> str:
    """Changes when a static file of the project does, its settings do, or a package is installed."""
    digest = hashlib.sha256()
    for path in sorted(_sources()):
        known = path.stat()
        digest.update(f"{path} {known.st_mtime_ns} {known.st_size}\n".encode())
    return digest.hexdigest()


def are_current(state: Path) -> bool:
    """Tell whether the files collected into `state` are those of now."""
    note = _note(state)
    return (state / "static").is_dir() and note.exists() and note.read_text() == fingerprint()


def note_collected(state: Path) -> None:
    """Remember that the files of now have been collected into `state`."""
    _note(state).write_text(fingerprint())


def _note(state: Path) -> Path:
    return state / "static-collected"


def _sources() -> Iterator[Path]:
    yield from (PROJECT / "portal" / "settings").glob("*.py")
    # Its own time changes when a package comes or goes.
    yield Path(sysconfig.get_path("purelib"))
    yield from (path for path in PROJECT.glob("*/static/**/*") if path.is_file())
