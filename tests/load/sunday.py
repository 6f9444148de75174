"""`make load`: starts the portal as deployed on servers of its own, fills it, and lets the players loose.

Words: how many people, for how many minutes, how many groups. Ends with 1 when the promise was not kept: a
request failed, the 95th percentile was late, an accepted visit is not stored once, or the web processes grew.
"""

from __future__ import annotations

import csv
import os
import secrets
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import psycopg

from portal.embedded import commands, inbox, postgres, valkey
from portal.embedded.inbox import free_port
from portal.embedded.place import PRODUCT, PROJECT
from portal.embedded.supervise import Child, stop_all
from tests.processes import PATIENCE, members_of_group
from tests.states import temporary_state

STORED = "SELECT count(*), count(DISTINCT id) FROM surveys_visit WHERE source = 'api' AND submitted_at > %s"
# A process may grow by so much from the first minute to the end, MB: caches fill.
GROWTH_MB = 60


def main() -> None:
    people, minutes, groups = (int(word) for word in sys.argv[1:4])
    with temporary_state() as state, ExitStack() as servers:
        os.environ |= environment(state, servers)
        run("manage.py", "migrate", "--verbosity", "0", "--skip-checks")
        run("manage.py", "grow", "--groups", str(groups), "--years", "3", "--skip-checks")
        players = state / "people.json"
        players.write_text(said_by("-m", "tests.load.people", str(people)))
        os.environ |= production(state)
        run("manage.py", "collectstatic", "--noinput", "--verbosity", "0")
        with deployed(state) as (port, web):
            sys.exit(play(players, port, web, people, minutes))


def environment(state: Path, servers: ExitStack) -> dict[str, str]:
    """PostgreSQL with the role that owns no table, Valkey, and a mail server that takes everything."""
    owner = servers.enter_context(postgres.running(state))
    return {
        "DATABASE_OWNER_URL": owner,
        "DATABASE_URL": owner.replace(f"//{PRODUCT}@", f"//{PRODUCT}_app:only-here@"),
        "REDIS_URL": servers.enter_context(valkey.running(state)),
        "EMAIL_URL": servers.enter_context(inbox.receiving(state / "inbox")),
        "PORTAL_STATE_DIR": str(state),
        "SECRET_KEY": secrets.token_urlsafe(60),
        "DJANGO_SETTINGS_MODULE": "portal.settings",
    }


def production(state: Path) -> dict[str, str]:
    """As behind a proxy; the players say of themselves that they came by HTTPS."""
    return {
        "PRODUCTION": "1",
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "BASE_URL": "https://localhost",
        "CSRF_TRUSTED_ORIGINS": "https://localhost",
        "PROXIES": "1",
        "STATIC_ROOT": str(state / "static"),
    }


@contextmanager
def deployed(state: Path) -> Iterator[tuple[int, Child]]:
    """Web server, worker and scheduler with the commands of the containers."""
    port = free_port()
    programs = {
        "web": commands.web(f"127.0.0.1:{port}"),
        "worker": commands.worker(),
        "beat": commands.beat(state / "beat"),
    }
    children = [
        Child(name, [sys.executable, "-m", *words], state / f"{name}.log") for name, words in programs.items()
    ]
    try:
        for child in children:
            child.start()
        deadline = time.monotonic() + PATIENCE
        while not listens(port):
            if time.monotonic() > deadline:
                sys.exit(f"The web server does not start: {children[0].last_words()}")
            time.sleep(0.1)
        yield port, children[0]
    finally:
        stop_all(children)


def listens(port: int) -> bool:
    """Whether anybody listens; a plain request would be sent on to HTTPS, where nobody does."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def play(players: Path, port: int, web: Child, people: int, minutes: int) -> int:
    """Let the players loose and tell what came of it; 0 if all is as promised."""
    begun, results = time.time(), players.with_name("load")
    words = [
        "-f",
        "tests/load/locustfile.py",
        "--headless",
        "--host",
        f"http://127.0.0.1:{port}",
        "--only-summary",
    ]
    words += ["-u", str(people), "-r", str(max(people // 20, 1)), "-t", f"{minutes}m", "--csv", str(results)]
    locust = subprocess.Popen(
        [sys.executable, "-m", "locust", *words], env=os.environ | {"LOAD_PEOPLE": str(players)}
    )
    time.sleep(min(60, minutes * 30))
    before = megabytes(web)
    status = locust.wait()
    after = megabytes(web)
    print(f"Web processes: {before} MB in the first minute, {after} MB at the end")
    grew = any(late - early > GROWTH_MB for early, late in zip(before, after, strict=True))
    is_whole = each_stored_once(begun, results)
    return 1 if status or grew or not is_whole else 0


def each_stored_once(begun: float, results: Path) -> bool:
    """Whether as many visits were stored as were accepted."""
    with Path(f"{results}_stats.csv").open() as file:
        rows = {row["Name"]: row for row in csv.DictReader(file)}
    sent = rows["send a visit"]
    accepted = int(sent["Request Count"]) - int(sent["Failure Count"])
    with psycopg.connect(os.environ["DATABASE_OWNER_URL"]) as line:
        since = line.execute("SELECT to_timestamp(%s)", [begun]).fetchone()
        stored = line.execute(STORED, since).fetchone()
    print(f"{accepted} visits accepted, {stored} stored and different ones")
    return stored is not None and stored[0] == stored[1] >= accepted


def megabytes(web: Child) -> list[int]:
    """Resident memory of each process of the web server."""
    assert web.process is not None
    statuses = [Path(f"/proc/{pid}/status").read_text() for pid in sorted(members_of_group(web.process.pid))]
    lines = [line for text in statuses for line in text.splitlines() if line.startswith("VmRSS")]
    return [int(line.split()[1]) // 1024 for line in lines]


def run(*words: str) -> None:
    subprocess.run([sys.executable, *words], cwd=PROJECT, check=True)


def said_by(*words: str) -> str:
    return subprocess.run(
        [sys.executable, *words], cwd=PROJECT, check=True, stdout=subprocess.PIPE, text=True
    ).stdout


if __name__ == "__main__":
    main()
