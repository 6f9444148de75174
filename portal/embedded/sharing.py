"""One server, many processes: the first starts it, the last one out stops it, even after crashes."""

import fcntl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO


@contextmanager
def shared_use(folder: Path, start: Callable[[], None], stop: Callable[[], None]) -> Iterator[None]:
    """Hold a share in the server of `folder`; `start` must do nothing when the server answers already.

    A share is a lock that the kernel drops when its process dies, so a killed user never keeps the server up.
    """
    with (folder / "users.lock").open("a") as users:
        with _alone(folder):
            fcntl.flock(users, fcntl.LOCK_SH)
            start()
        try:
            yield
        finally:
            # Leaving is locked too, or a newcomer could find a server that is about to go.
            with _alone(folder):
                if _is_last(users):
                    stop()


def is_used(folder: Path) -> bool:
    """Tell whether a living process holds a share in the server of `folder`."""
    lock = folder / "users.lock"
    if not lock.exists():
        return False
    with lock.open("a") as users:
        return not _is_last(users)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    with (folder / "start.lock").open("a") as turn:
        fcntl.flock(turn, fcntl.LOCK_EX)
        yield


def _is_last(users: IO[str]) -> bool:
    try:
        fcntl.flock(users, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
