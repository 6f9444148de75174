"""State folders of runs: known to be in use while the run that made them lives, however it ends."""

from __future__ import annotations

import fcntl
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LOCK = "run.lock"


@contextmanager
def temporary_state(prefix: str = "rifflebook-tests-") -> Iterator[Path]:
    """A state folder that the database's own user can walk into, which pytest's `tmp_path` is not for root.

    It is held until it has been removed, so that nobody clears away what is just being made or taken down.
    """
    state = Path(tempfile.mkdtemp(prefix=prefix))
    with (state / LOCK).open("a") as held:
        fcntl.flock(held, fcntl.LOCK_SH)
        state.chmod(0o711)
        try:
            yield state
        finally:
            shutil.rmtree(state, ignore_errors=True)


def is_held(state: Path) -> bool:
    """Tell whether the run that made this folder lives."""
    try:
        with (state / LOCK).open() as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except FileNotFoundError:
        return False
    return False
