"""What tests of the chain do to it: tampering by plain SQL, as somebody with the database's password could."""

from __future__ import annotations

from typing import Any

from django.db import connection

from alerts.chain.checking import Chain, check_chain
from tests.alerts.conftest import the_incident
from tests.owner import as_owner


def run_sql(statement: str, *values: Any, met: bool = True) -> None:
    """Run one statement past all of the portal's own rules; it must meet a row, unless it changes none."""
    with as_owner(), connection.cursor() as cursor:
        cursor.execute(statement, values)
        assert not met or cursor.rowcount > 0, "nothing was tampered with"


def checked() -> Chain:
    """The chain of the only incident, read anew."""
    return check_chain(the_incident())
