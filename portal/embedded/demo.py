"""`make demo`: the whole portal on this machine with invented data, until Ctrl-C.

Starts PostgreSQL, Valkey and a mail server that keeps what it gets, prepares the data, then runs and watches
the web server, the Celery worker and the scheduler. Words on the command line go to `seed_demo`.
"""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import FrameType

from portal.embedded import commands, inbox, place, postgres, statics, supervise, valkey
from portal.embedded.place import EmbeddedError
from portal.embedded.supervise import Child

PATIENCE = 60.0
ENDS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def main() -> None:
    """Run the demo; the exit code is 0 after Ctrl-C, and 1 with a message when it cannot start."""
    for end in ENDS:
        signal.signal(end, _leave)
    try:
        with ExitStack() as servers:
            run_demo(servers, int(os.environ.get("PORT", "8000")), seeding=sys.argv[1:])
    except KeyboardInterrupt:
        say("\nStopped; the data is kept for the next time.")
    except (EmbeddedError, subprocess.CalledProcessError) as problem:
        sys.exit(f"The demo cannot start. {problem}")


def run_demo(servers: ExitStack, port: int, seeding: Sequence[str]) -> None:
    """Start everything in order and watch it; returns only by an exception."""
    state = place.make_folder(place.state_folder(), 0o755)
    require_free(port)
    say("Starting the database, the broker and the mail server ...")
    name_servers(servers, state, port)
    say("Preparing the data ...")
    logins = prepare_data(state, seeding)
    say("Starting the web server, the worker and the scheduler ...")
    children = servers.enter_context(started(demo_children(state, port)))
    await_web(children[0], f"http://127.0.0.1:{port}/")
    say(
        f"\n{logins}\n\nOpen http://localhost:{port}/   Mail the portal sends: http://localhost:{port}/demo/inbox/"
    )
    say(f"Logs: {state / 'log'}   Stop with Ctrl-C.")
    supervise.keep_running(children)


def require_free(port: int) -> None:
    """Refuse early and plainly when something listens on `port` already."""
    with socket.socket() as probe:
        if probe.connect_ex(("127.0.0.1", port)) == 0:
            raise EmbeddedError(
                f"Something answers on port {port} already: stop it, or choose with PORT=8001 make demo."
            )


def name_servers(servers: ExitStack, state: Path, port: int) -> None:
    """Start each server that the environment names none of, and put its address where the settings look."""
    defaults: dict[str, Callable[[], str]] = {
        "DATABASE_URL": lambda: servers.enter_context(postgres.running(state)),
        "REDIS_URL": lambda: servers.enter_context(valkey.running(state)),
        "EMAIL_URL": lambda: servers.enter_context(inbox.receiving(state / "demo-inbox")),
        "BASE_URL": lambda: f"http://localhost:{port}",
    }
    for name, address in defaults.items():
        if name not in os.environ:
            os.environ[name] = address()
    os.environ |= {"DEMO": "1", "PORTAL_STATE_DIR": str(state), "DJANGO_SETTINGS_MODULE": "portal.settings"}


def prepare_data(state: Path, seeding: Sequence[str]) -> str:
    """Bring the database and the static files up to date; returns what `seed_demo` says: the logins."""
    with collecting(state):
        # What the checks would find, the tests have found already; they take longer than the rest.
        subprocess.run(_manage("migrate", "--noinput", "--verbosity", "0", "--skip-checks"), check=True)
        seeding_command = _manage("seed_demo", "--skip-checks", *seeding)
        seeded = subprocess.run(seeding_command, check=True, stdout=subprocess.PIPE, text=True)
    return seeded.stdout.strip()


@contextmanager
def collecting(state: Path) -> Iterator[None]:
    """Collect the static files, if they changed, beside what is done inside: it touches no database."""
    if statics.are_current(state):
        yield
        return
    with subprocess.Popen(_manage("collectstatic", "--noinput", "--verbosity", "0")) as collector:
        try:
            yield
        except BaseException:
            collector.terminate()
            raise
    if collector.returncode:
        raise subprocess.CalledProcessError(collector.returncode, collector.args)
    statics.note_collected(state)


def demo_children(state: Path, port: int) -> list[Child]:
    """The three processes of the portal; the web server first."""
    log = place.make_folder(state / "log", 0o755)
    programs = {
        "web": commands.web(f"127.0.0.1:{port}"),
        "worker": commands.worker(),
        "beat": commands.beat(state / "beat-schedule"),
    }
    return [
        Child(name, [sys.executable, "-m", *words], log / f"{name}.log") for name, words in programs.items()
    ]


@contextmanager
def started(children: Sequence[Child]) -> Iterator[Sequence[Child]]:
    """The children started; at the end all are stopped, with whatever they started."""
    try:
        for child in children:
            child.log.unlink(missing_ok=True)
            child.start()
        yield children
    finally:
        supervise.stop_all(children)


def await_web(web: Child, address: str) -> None:
    """Wait until the home page comes; raises EmbeddedError with the server's last words when it does not."""
    deadline = time.monotonic() + PATIENCE
    while not answers(address):
        if web.exit_code() is not None or time.monotonic() > deadline:
            raise EmbeddedError(f"The web server does not answer at {address}:\n{web.last_words()}")
        time.sleep(0.1)


def answers(address: str) -> bool:
    """Tell whether a page comes from `address`; an error page of the server is none."""
    try:
        with urllib.request.urlopen(address, timeout=10):  # noqa: S310
            return True
    except urllib.error.HTTPError as page:
        return page.code < 500
    except OSError:
        return False


def say(words: str) -> None:
    """Print at once, so that whoever watches through a pipe sees it too."""
    print(words, flush=True)


def _manage(*words: str) -> list[str]:
    return [sys.executable, str(place.PROJECT / "manage.py"), *words]


def _leave(_number: int, _frame: FrameType | None) -> None:
    # Whoever is impatient and presses again must not interrupt the stopping, which takes seconds at most.
    for end in ENDS:
        signal.signal(end, signal.SIG_IGN)
    raise KeyboardInterrupt


if __name__ == "__main__":
    main()
