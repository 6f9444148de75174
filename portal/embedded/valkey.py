"""The private Valkey (speaks Redis): on a Unix socket only, stopped by its last user, keeps its queue."""

import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import parse_qs, urlencode, urlsplit

from portal.embedded import place
from portal.embedded.binaries import valkey_program
from portal.embedded.place import EmbeddedError
from portal.embedded.sharing import shared_use

PATIENCE = 30.0


@dataclass(frozen=True)
class Broker:
    """One data folder and the socket that serves it."""

    home: Path
    socket: Path

    @property
    def log(self) -> Path:
        """What the server said, all starts together."""
        return self.home / "server.log"

    @property
    def address(self) -> str:
        """The REDIS_URL in the form that Celery reads."""
        return f"redis+socket://{self.socket}"


@contextmanager
def running(state_dir: Path | None = None) -> Iterator[str]:
    """Start or join the private Valkey and yield its REDIS_URL; raises EmbeddedError when it cannot start."""
    broker = _broker(place.state_folder(state_dir))
    with shared_use(broker.home, start=lambda: _start(broker), stop=lambda: _stop(broker)):
        yield broker.address


def address(state_dir: Path | None = None) -> str:
    """The REDIS_URL of the private Valkey, whether or not somebody keeps it running at the moment."""
    return _broker(place.state_folder(state_dir)).address


def client_address(redis_url: str) -> str:
    """The same server in the form that redis-py and Django's cache read: `redis+socket://` becomes `unix://`."""
    parts = urlsplit(redis_url)
    if parts.scheme != "redis+socket":
        return redis_url
    options = {name: values[-1] for name, values in parse_qs(parts.query).items()}
    if "virtual_host" in options:
        options["db"] = options.pop("virtual_host").strip("/")
    return f"unix://{parts.path}" + (f"?{urlencode(options)}" if options else "")


def numbered(redis_url: str, database: int) -> str:
    """The same server with another database number, in the form that was given."""
    parts = urlsplit(redis_url)
    if parts.scheme == "redis+socket":
        # Not `geturl`, which drops the empty host's slashes from a scheme it does not know.
        return f"{parts.scheme}://{parts.path}?{urlencode({'virtual_host': database})}"
    return parts._replace(path=f"/{database}").geturl()


def _broker(state: Path) -> Broker:
    home = place.make_folder(place.make_folder(state, 0o755) / "valkey", 0o700)
    return Broker(home, place.socket_folder(home, owned_by_server=False) / "valkey.sock")


def _start(broker: Broker) -> None:
    if _answers(broker):
        return
    command: list[str | Path] = [
        valkey_program(),
        "--port",
        "0",
        "--unixsocket",
        broker.socket,
        "--unixsocketperm",
        "700",
    ]
    # Each write goes to the disk within a second: a queued nudge survives a kill.
    command += ["--dir", broker.home, "--appendonly", "yes", "--save", "", "--logfile", broker.log]
    command += ["--daemonize", "yes", "--pidfile", broker.home / "server.pid"]
    subprocess.run(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, check=False)
    _await(lambda: _answers(broker), f"Valkey did not start: see {broker.log}")


def _stop(broker: Broker) -> None:
    _ask(broker, b"SHUTDOWN\r\n")
    _await(lambda: not _answers(broker), f"Valkey did not stop: see {broker.log}")


def _answers(broker: Broker) -> bool:
    return _ask(broker, b"PING\r\n").startswith(b"+PONG")


def _ask(broker: Broker, command: bytes) -> bytes:
    try:
        with socket.socket(socket.AF_UNIX) as line:
            line.settimeout(5)
            line.connect(str(broker.socket))
            line.sendall(command)
            return line.recv(64)
    except OSError:
        return b""


def _await(happened: Callable[[], bool], otherwise: str) -> None:
    deadline = time.monotonic() + PATIENCE
    while not happened():
        if time.monotonic() > deadline:
            raise EmbeddedError(otherwise)
        time.sleep(0.02)
