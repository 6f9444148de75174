"""Keep a few child processes running, and leave none behind."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from portal.embedded.place import PROJECT

GRACE = 10.0
LONGEST_PAUSE = 30.0


@dataclass
class Child:
    """One program that should run for as long as we do, in a process group of its own."""

    name: str
    command: Sequence[str]
    log: Path
    process: subprocess.Popen[bytes] | None = None
    begun: float = 0.0
    pause: float = 0.0
    due: float | None = None

    def start(self) -> None:
        """Start the program, its words going to the end of the log."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [*_dies_with_us(), *self.command],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                cwd=PROJECT,
            )
        self.begun, self.due = time.monotonic(), None

    def exit_code(self) -> int | None:
        """None while the program runs."""
        return self.process.poll() if self.process else None

    def is_running(self) -> bool:
        """Tell whether the program itself still runs."""
        return self.process is not None and self.exit_code() is None

    def ask_to_stop(self) -> None:
        """Ask only the program itself: a group signal would make its own children stop under its hands."""
        if self.process and self.is_running():
            self.process.terminate()

    def clear(self) -> None:
        """Kill what is left of the program and of all that it started."""
        if self.process:
            # An empty group is gone for Linux, and forbidden for others.
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()

    def last_words(self, lines: int = 15) -> str:
        """The end of the log."""
        return "\n".join(self.log.read_text(errors="replace").splitlines()[-lines:])


def keep_running(children: Sequence[Child]) -> None:
    """Restart whichever child ends, for ever; one that keeps dying waits longer each time."""
    while True:
        for child in children:
            look_after(child)
        time.sleep(0.25)


def look_after(child: Child) -> None:
    """Notice that a child has ended and say so, and start it again when its pause is over."""
    code = child.exit_code()
    if code is None:
        return
    if child.due is None:
        _plan_restart(child, code)
    elif time.monotonic() >= child.due:
        child.start()


def stop_all(children: Sequence[Child]) -> None:
    """Ask every child to stop, wait, and kill what is left of their process groups."""
    for child in children:
        child.ask_to_stop()
    deadline = time.monotonic() + GRACE
    while any(child.is_running() for child in children) and time.monotonic() < deadline:
        time.sleep(0.05)
    for child in children:
        child.clear()


def _plan_restart(child: Child, code: int) -> None:
    now = time.monotonic()
    lasted = now - child.begun > LONGEST_PAUSE
    child.pause = 0.0 if lasted else min(max(1.0, child.pause * 2), LONGEST_PAUSE)
    child.due = now + child.pause
    print(f"{child.name} stopped (exit {code}); starting it again. Its log: {child.log}", flush=True)
    # What a killed program leaves behind may hold its port or its queue.
    child.clear()


def _dies_with_us() -> list[str]:
    # Where the system has it: even `kill -9` of this process then leaves no child behind.
    setpriv = shutil.which("setpriv") if sys.platform == "linux" else None
    return [setpriv, "--pdeathsig", "TERM", "--"] if setpriv else []
