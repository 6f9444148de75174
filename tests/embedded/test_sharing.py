"""The locks by which processes share one server, with counted starts and stops in place of a server."""

import multiprocessing
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from portal.embedded import sharing
from tests.processes import await_true


class Counted:
    """A server that notes what is asked of it."""

    def __init__(self) -> None:
        self.calls: list[str] = []

    def note(self, word: str) -> Callable[[], None]:
        return lambda: self.calls.append(word)


def hold_until_killed(folder: Path) -> None:
    with sharing.shared_use(folder, start=lambda: None, stop=lambda: None):
        (folder / "holding").touch()
        signal.pause()


def test_the_first_user_starts_and_the_last_one_stops(tmp_path: Path) -> None:
    server = Counted()
    with (
        sharing.shared_use(tmp_path, server.note("start"), server.note("stop")),
        sharing.shared_use(tmp_path, server.note("asked again"), server.note("stopped early")),
    ):
        pass
    assert server.calls == ["start", "asked again", "stop"]


def test_a_failed_start_leaves_no_share_behind(tmp_path: Path) -> None:
    def fail() -> None:
        raise OSError("no")

    with pytest.raises(OSError, match="no"):
        sharing.shared_use(tmp_path, fail, fail).__enter__()
    assert not sharing.is_used(tmp_path)


def test_it_tells_whether_somebody_uses_the_server(tmp_path: Path) -> None:
    assert not sharing.is_used(tmp_path)
    with sharing.shared_use(tmp_path, lambda: None, lambda: None):
        assert sharing.is_used(tmp_path)
    assert not sharing.is_used(tmp_path)


def test_a_killed_process_loses_its_share(tmp_path: Path) -> None:
    user = multiprocessing.get_context("spawn").Process(target=hold_until_killed, args=(tmp_path,))
    user.start()
    await_true(lambda: (tmp_path / "holding").exists(), "the other process never took its share")
    assert sharing.is_used(tmp_path)
    user.kill()
    user.join()
    assert not sharing.is_used(tmp_path)


def test_a_program_that_a_user_starts_does_not_inherit_the_share(tmp_path: Path) -> None:
    with sharing.shared_use(tmp_path, lambda: None, lambda: None):
        program = subprocess.Popen(["sleep", "30"], close_fds=False)
    with program:
        assert not sharing.is_used(tmp_path)
        program.kill()
