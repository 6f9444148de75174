"""Keeping children running and leaving none behind, with real child processes."""

import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from portal.embedded import place, supervise
from portal.embedded.supervise import Child, look_after, stop_all
from tests.processes import await_true, command_of, is_alive, kill_now, members_of_group

WAIT = "import time; time.sleep(60)"
STUBBORN = f"import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('deaf', flush=True); {WAIT}"
PARENT = "import subprocess; subprocess.Popen(['sleep', '60']); print('two', flush=True)"


def python(tmp_path: Path, code: str) -> Child:
    return Child("helper", [sys.executable, "-c", code], tmp_path / "helper.log")


@contextmanager
def running(child: Child) -> Iterator[int]:
    """The child started; yields its process group."""
    child.start()
    try:
        assert child.process is not None
        yield child.process.pid
    finally:
        stop_all([child])


def await_word(child: Child, word: str) -> None:
    await_true(lambda: word in child.last_words(), f"the child never said {word}")


def test_a_child_writes_to_its_log(tmp_path: Path) -> None:
    child = python(tmp_path, "print('from the child')")
    with running(child):
        await_word(child, "from the child")


def test_a_child_reads_no_terminal(tmp_path: Path) -> None:
    child = python(tmp_path, "import sys; print('read', repr(sys.stdin.read()))")
    with running(child):
        await_word(child, "read ''")


def test_stopping_takes_the_children_of_children_along(tmp_path: Path) -> None:
    child = python(tmp_path, f"{PARENT}; {WAIT}")
    with running(child) as group:
        await_word(child, "two")
        assert len(members_of_group(group)) == 2
    await_true(lambda: not members_of_group(group), "something of it is left")


def test_a_child_that_ignores_the_request_is_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervise, "GRACE", 0.3)
    child = python(tmp_path, STUBBORN)
    with running(child) as group:
        await_word(child, "deaf")
    await_true(lambda: not members_of_group(group), "something of it is left")
    assert child.exit_code() == -signal.SIGKILL


def test_a_child_that_ended_is_named_and_started_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    child = python(tmp_path, WAIT)
    with running(child) as first:
        child.begun -= supervise.LONGEST_PAUSE + 1
        kill_now(first)
        await_true(lambda: child.exit_code() is not None, "the kill went unseen")
        look_after(child)
        look_after(child)
        assert child.process is not None
        assert child.process.pid != first
        assert child.exit_code() is None
    assert "helper stopped (exit -9)" in capsys.readouterr().out


def test_a_child_that_keeps_dying_is_restarted_ever_more_slowly(tmp_path: Path) -> None:
    child = python(tmp_path, "raise SystemExit(3)")
    pauses = []
    for _ in range(7):
        child.start()
        await_true(lambda: child.exit_code() is not None, "it never ended")
        look_after(child)
        pauses.append(child.pause)
    assert pauses == [1, 2, 4, 8, 16, 30, 30]


def test_what_a_dead_child_leaves_is_cleared_before_the_restart(tmp_path: Path) -> None:
    child = python(tmp_path, PARENT)
    with running(child) as group:
        await_word(child, "two")
        await_true(lambda: child.exit_code() is not None, "it never ended")
        look_after(child)
        await_true(lambda: members_of_group(group) == [], "its own child lives on")


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's parent-death signal is Linux's")
def test_children_end_even_when_their_supervisor_is_killed(tmp_path: Path) -> None:
    code = f"""
        import pathlib, sys
        from portal.embedded.supervise import Child
        child = Child("helper", ["sleep", "60"], pathlib.Path({str(tmp_path / "log")!r}))
        child.start()
        print(child.process.pid, flush=True)
        sys.stdin.read()
    """
    command = [sys.executable, "-c", textwrap.dedent(code)]
    pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(command, text=True, cwd=place.PROJECT, **pipes) as supervisor:
        assert supervisor.stdout is not None
        child = int(supervisor.stdout.readline())
        await_true(lambda: command_of(child).startswith("sleep"), "the child never started")
        os.kill(supervisor.pid, signal.SIGKILL)
    await_true(lambda: not is_alive(child), "the child outlived its killed supervisor")
