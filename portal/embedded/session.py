"""What `manage.py` does around a command: name the private servers, and run the database for the while."""

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import FrameType

from portal.embedded import place, postgres, valkey
from portal.embedded.place import EmbeddedError

NEED_NO_DATABASE = frozenset(
    {"collectstatic", "compilemessages", "diffsettings", "findstatic", "help", "makemessages", "score_counts"}
)
# They make, read or refill whole tables; everything else works as the role that owns none.
NEED_THE_OWNER = frozenset(
    {"backup", "dbshell", "flush", "grow", "makemigrations", "migrate", "restore", "squashmigrations"}
)


@contextmanager
def own_servers(arguments: Sequence[str]) -> Iterator[None]:
    """Start or join the private PostgreSQL unless DATABASE_URL names one or the command needs none."""
    if "DATABASE_URL" in os.environ or not needs_database(arguments):
        yield
        return
    # Named even when it does not run: the settings' default could be some other project's broker.
    os.environ.setdefault("REDIS_URL", valkey.address())
    try:
        with _tidy_end(), postgres.running() as address:
            os.environ |= {"DATABASE_URL": address, "PORTAL_STATE_DIR": str(place.state_folder())}
            yield
    except EmbeddedError as problem:
        sys.exit(str(problem))


def needs_database(arguments: Sequence[str]) -> bool:
    """Tell from the command line whether the command reads or writes the database; in doubt it does."""
    words = arguments[1:]
    asks_for_help = not words or "--help" in words or "-h" in words or words[0] in {"--version", "version"}
    return not asks_for_help and words[0] not in NEED_NO_DATABASE


def needs_the_owner(arguments: Sequence[str]) -> bool:
    """Tell from the command line whether the command needs the account that owns the tables."""
    return len(arguments) > 1 and arguments[1] in NEED_THE_OWNER


@contextmanager
def _tidy_end() -> Iterator[None]:
    """Let a polite kill or a closed terminal end the command through its `finally` clauses."""
    ends = (signal.SIGTERM, signal.SIGHUP)
    before = {end: signal.signal(end, _leave) for end in ends}
    try:
        yield
    finally:
        for end, handler in before.items():
            signal.signal(end, handler)


def _leave(number: int, _frame: FrameType | None) -> None:
    sys.exit(128 + number)
