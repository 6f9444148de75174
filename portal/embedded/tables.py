"""What whoever runs a command reads where the database has not the tables that the command asks for."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

# PostgreSQL's states, appendix A of its manual: no such table, no such column.
MISSING = {"42P01", "42703"}
WORDS = "The database has no tables yet, or those of another release. Run `manage.py migrate` first."


@contextmanager
def missing_tables() -> Iterator[None]:
    """End with a sentence where a table or column is not there; any other fault goes on."""
    try:
        yield
    except Exception as fault:
        if "--traceback" in sys.argv or getattr(fault.__cause__, "sqlstate", None) not in MISSING:
            raise
        sys.exit(WORDS)
