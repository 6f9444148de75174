"""Look at real processes, for tests that start and kill them."""

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

# Only a failing test waits so long, or a machine that is busy with others.
PATIENCE = 60.0


def await_true(
    happened: Callable[[], bool], otherwise: str, patience: float = PATIENCE, pause: float = 0.02
) -> None:
    """Poll until it happened, or fail with the words given."""
    deadline = time.monotonic() + patience
    while not happened():
        assert time.monotonic() < deadline, otherwise
        time.sleep(pause)


def is_alive(pid: int) -> bool:
    """Tell whether a process runs; a zombie, which nobody has collected yet, does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


def members_of_group(group: int) -> list[int]:
    """The living processes of a process group."""
    return [pid for pid in all_pids() if is_alive(pid) and group_of(pid) == group]


def group_of(pid: int) -> int | None:
    """The process group of a process, or None when it has gone meanwhile."""
    try:
        return os.getpgid(pid)
    except ProcessLookupError:
        return None


def naming(words: str) -> dict[int, str]:
    """The living processes whose command line or working folder holds the words."""
    found = {pid: command_of(pid) for pid in all_pids() if pid != os.getpid() and is_alive(pid)}
    return {pid: command for pid, command in found.items() if words in command}


def command_of(pid: int) -> str:
    """The command line of a process followed by its working folder."""
    try:
        line = Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
        return f"{line} {Path(f'/proc/{pid}/cwd').readlink()}"
    except OSError:
        return ""


def all_pids() -> list[int]:
    """Every process that this machine shows us."""
    return [int(entry.name) for entry in Path("/proc").iterdir() if entry.name.isdigit()]


def kill_now(pid: int) -> None:
    """`kill -9`, and wait until it is gone."""
    os.kill(pid, signal.SIGKILL)
    await_true(lambda: not is_alive(pid), f"process {pid} survived a kill")


def parent_of(pid: int) -> int | None:
    """The parent of a process, or None when it has gone meanwhile."""
    try:
        return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
    except OSError:
        return None
