"""A command on a database without tables ends with a sentence, not with the database's own words."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, connection

from portal.embedded.tables import WORDS, missing_tables

pytestmark = pytest.mark.django_db


def ask(query: str) -> None:
    with connection.cursor() as cursor, missing_tables():
        cursor.execute(query)


@pytest.mark.parametrize("query", ["SELECT 1 FROM nowhere", "SELECT nothing FROM accounts_user"])
def test_it_says_to_migrate_first(query: str) -> None:
    with pytest.raises(SystemExit) as ended:
        ask(query)
    assert ended.value.code == WORDS


def test_it_lets_other_faults_be_seen() -> None:
    with pytest.raises(DatabaseError, match="division by zero"):
        ask("SELECT 1 / 0")


def test_whoever_wants_the_traceback_gets_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["manage.py", "create_group", "--traceback"])
    with pytest.raises(DatabaseError, match="nowhere"):
        ask("SELECT 1 FROM nowhere")
