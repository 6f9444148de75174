"""A portal in a process of its own that can be killed, and the line that a phone reaches it by."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from django.db import connection

from portal.embedded.place import PROJECT
from tests.faults.conftest import database_url
from tests.processes import await_true

HOST = "127.0.0.1"


class Portal:
    """The web server on the test's own database; killed, it can be started again at the same port."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        self.port = _free_port()

    def start(self) -> None:
        """Start it and wait until it listens."""
        environment = os.environ | {
            "DATABASE_URL": database_url(str(connection.settings_dict["NAME"])),
            "DEBUG": "1",
            "MEDIA_ROOT": str(self._folder / "media"),
        }
        command = [
            sys.executable,
            "manage.py",
            "runserver",
            "--noreload",
            "--skip-checks",
            f"{HOST}:{self.port}",
        ]
        with (self._folder / "portal.log").open("ab") as log:
            self._process = subprocess.Popen(
                command, cwd=PROJECT, env=environment, stdout=log, stderr=log, start_new_session=True
            )
        await_true(lambda: _listens(self.port), "the portal did not start")

    def kill(self) -> None:
        """kill -9, which no program can answer."""
        if self._process is None:
            return
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait(timeout=20)
        self._process = None


class Line:
    """Carries bytes between the phone and the portal.

    `on_answer`, if set, is called once with the first bytes of the portal's answer to a PUT; the phone gets
    none of that answer, and its connection breaks.
    """

    def __init__(self, port: int) -> None:
        self._to = port
        self._listener = socket.create_server((HOST, 0))
        self.port: int = self._listener.getsockname()[1]
        self.on_answer: Callable[[bytes], None] | None = None
        self.sent = 0
        threading.Thread(target=self._take_calls, daemon=True).start()

    @property
    def url(self) -> str:
        """What the phone calls the portal."""
        return f"http://{HOST}:{self.port}"

    def close(self) -> None:
        """Take no more calls."""
        self._listener.close()

    def _take_calls(self) -> None:
        with suppress(OSError):
            while True:
                phone, _address = self._listener.accept()
                threading.Thread(target=self._connect, args=[phone], daemon=True).start()

    def _connect(self, phone: socket.socket) -> None:
        try:
            portal = socket.create_connection((HOST, self._to), timeout=60)
        except OSError:
            phone.close()
            return
        is_sending = threading.Event()
        back = threading.Thread(target=self._answers, args=[portal, phone, is_sending], daemon=True)
        back.start()
        self._requests(phone, portal, is_sending)
        back.join()

    def _requests(self, phone: socket.socket, portal: socket.socket, is_sending: threading.Event) -> None:
        with suppress(OSError):
            while some := phone.recv(65_536):
                if some.startswith(b"PUT "):
                    self.sent += 1
                    is_sending.set()
                portal.sendall(some)
        _shut(portal)

    def _answers(self, portal: socket.socket, phone: socket.socket, is_sending: threading.Event) -> None:
        with suppress(OSError):
            while some := portal.recv(65_536):
                if is_sending.is_set() and self.on_answer:
                    happens, self.on_answer = self.on_answer, None
                    happens(some)
                    break
                phone.sendall(some)
        _shut(phone)
        _shut(portal)


def _shut(line: socket.socket) -> None:
    with suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)
    line.close()


def _free_port() -> int:
    with socket.create_server((HOST, 0)) as found:
        port: int = found.getsockname()[1]
    return port


def _listens(port: int) -> bool:
    with suppress(OSError), socket.create_connection((HOST, port), timeout=1):
        return True
    return False
