"""The private PostgreSQL: made on first use, reached by a Unix socket only, stopped by its last user."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import psycopg
from psycopg import sql

from portal.embedded import place
from portal.embedded.binaries import postgres_programs, readable_programs
from portal.embedded.place import EmbeddedError, as_server_user
from portal.embedded.sharing import shared_use

PATIENCE = 30.0
ROLE = f"{place.PRODUCT}_app"
# Only a part of the socket's name: no port is opened.
PORT = 5432
# Above the highest process number that Linux can give.
NO_PROCESS = 2**22 + 1
# A test's data need not survive a power cut; this halves the time of a suite.
HASTY = ("fsync=off", "synchronous_commit=off", "full_page_writes=off")


@dataclass(frozen=True)
class Cluster:
    """One data folder with the programs that serve it."""

    home: Path
    socket: Path
    programs: Path
    settings: tuple[str, ...] = ()

    @property
    def data(self) -> Path:
        """The folder that PostgreSQL calls PGDATA."""
        return self.home / "data"

    @property
    def log(self) -> Path:
        """What the server said, all starts together."""
        return self.home / "server.log"

    def address(self, database: str = place.PRODUCT) -> str:
        """The DATABASE_URL of `database`, in the form that libpq and django-environ both read."""
        # Unsaid, a PGPORT of the caller would decide the port.
        where = urlencode({"host": self.socket, "port": PORT}, safe="/")
        return f"postgres://{place.PRODUCT}@/{database}?{where}"


@contextmanager
def running(state_dir: Path | None = None, *, durable: bool = True) -> Iterator[str]:
    """Start or join the private PostgreSQL and yield its DATABASE_URL; EmbeddedError when it cannot start."""
    cluster = _cluster(place.state_folder(state_dir), () if durable else HASTY)
    with shared_use(cluster.home, start=lambda: _start(cluster), stop=lambda: _stop(cluster)):
        yield cluster.address()


def _cluster(state: Path, settings: tuple[str, ...]) -> Cluster:
    home = place.server_folder(state, "postgres")
    return Cluster(home, place.socket_folder(home), readable_programs(postgres_programs(), state), settings)


def _start(cluster: Cluster) -> None:
    if _answers(cluster):
        return
    if not (cluster.data / "PG_VERSION").exists():
        _create(cluster)
    _refuse_other_version(cluster)
    _disown_dead(cluster)
    _serve(cluster)
    _create_database(cluster)


def _stop(cluster: Cluster) -> None:
    _disown_dead(cluster)
    try:
        _run(cluster, "pg_ctl", "stop", "-D", str(cluster.data), "-m", "fast", "-w", "-s")
    except EmbeddedError:
        # One that was killed meanwhile needs no stopping.
        if _answers(cluster):
            raise


def _answers(cluster: Cluster) -> bool:
    try:
        with psycopg.connect(cluster.address("postgres"), connect_timeout=5):
            return True
    except psycopg.OperationalError:
        return False


def _create(cluster: Cluster) -> None:
    locale = "C.UTF-8" if sys.platform == "linux" else "en_US.UTF-8"
    # Trust is enough: only its owner can enter the socket's folder, and no port is open.
    account = ("-U", place.PRODUCT, "--auth=trust", "-E", "UTF8", f"--locale={locale}", "--no-sync")
    _run(cluster, "initdb", "-D", str(cluster.data), *account)


def _serve(cluster: Cluster) -> None:
    options = ["-h ''", f"-k '{cluster.socket}'", *(f"-c {setting}" for setting in cluster.settings)]
    command = ("start", "-D", str(cluster.data), "-l", str(cluster.log), "-w", "-s", "-o", " ".join(options))
    deadline = time.monotonic() + PATIENCE
    while not _answers(cluster):
        try:
            _run(cluster, "pg_ctl", *command)
        except EmbeddedError as refusal:
            # Children of a killed server hold its memory for a moment; nothing may start beside them.
            if "shared memory block" not in str(refusal) or time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def _create_database(cluster: Cluster) -> None:
    with psycopg.connect(cluster.address("postgres"), autocommit=True) as connection:
        known = "SELECT 1 FROM pg_database WHERE datname = %s"
        if connection.execute(known, [place.PRODUCT]).fetchone() is None:
            connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(place.PRODUCT)))
        # As which the portal works; without it not even a command of a new database could step down.
        known = "SELECT 1 FROM pg_roles WHERE rolname = %s"
        if connection.execute(known, [ROLE]).fetchone() is None:
            connection.execute(sql.SQL("CREATE ROLE {}").format(sql.Identifier(ROLE)))


def _refuse_other_version(cluster: Cluster) -> None:
    made_by = (cluster.data / "PG_VERSION").read_text().strip()
    # "postgres (PostgreSQL) 18.6", on Debian with the package's name in brackets behind it.
    programs = _run(cluster, "postgres", "--version").split()[2]
    if programs.split(".")[0] != made_by:
        raise EmbeddedError(
            f"{cluster.data} was made by PostgreSQL {made_by} and {cluster.programs} holds {programs}:"
            f" set PORTAL_POSTGRES_BIN to programs of version {made_by}, or move the folder away."
        )


def _disown_dead(cluster: Cluster) -> None:
    """Correct a killed server's notes where its process number is a zombie's or some other program's by now."""
    if not Path("/proc/self").exists():
        return
    for note in (cluster.data / "postmaster.pid", cluster.socket / f".s.PGSQL.{PORT}.lock"):
        if note.exists():
            number, _, rest = note.read_text().partition("\n")
            if os.fsencode(cluster.data) not in _command_line(number):
                # Not removed: by the rest PostgreSQL finds survivors of the old server and waits for them.
                note.write_text(f"{NO_PROCESS}\n{rest}")


def _command_line(number: str) -> bytes:
    try:
        return (Path("/proc") / number / "cmdline").read_bytes()
    except OSError:
        return b""


def _run(cluster: Cluster, program: str, *arguments: str) -> str:
    """Run one of the programs as the server's user and return what it said."""
    # To a file, never a pipe: the server inherits it and would keep a pipe's reader waiting for ever.
    with (cluster.home / "launch.log").open("w+") as said:
        command = [str(cluster.programs / program), *arguments]
        options: dict[str, Any] = {
            "stdin": subprocess.DEVNULL,
            "stdout": said,
            "stderr": said,
            "env": _environment(),
        }
        done = subprocess.run(command, check=False, **options, **as_server_user())
        said.seek(0)
        words = said.read().strip()
    if done.returncode != 0:
        raise EmbeddedError(f"{program} failed in {cluster.home}: {words}\n{_last_words(cluster)}")
    return words


def _environment() -> dict[str, str]:
    # A PGDATA or PGPORT meant for another server must not steer this one.
    return {name: value for name, value in os.environ.items() if not name.startswith("PG")}


def _last_words(cluster: Cluster) -> str:
    return "\n".join(cluster.log.read_text(errors="replace").splitlines()[-15:]) if cluster.log.exists() else ""
