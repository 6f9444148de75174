"""How tables are built, as the database tells it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import connection

HOW = """
SELECT c.conrelid::regclass::text, c.conname, pg_get_constraintdef(c.oid) || c.convalidated::text
FROM pg_constraint c WHERE c.conrelid = ANY(%(tables)s::regclass[])
UNION SELECT tablename, indexname, indexdef FROM pg_indexes WHERE tablename = ANY(%(tables)s)
UNION SELECT tgrelid::regclass::text, tgname, tgenabled::text || pg_get_triggerdef(oid)
FROM pg_trigger WHERE NOT tgisinternal AND tgrelid = ANY(%(tables)s::regclass[])
"""


def built_as(models: Iterable[Any]) -> set[tuple[str, str, str]]:
    """Constraints, indexes and triggers of these models' tables: table, name and definition."""
    with connection.cursor() as cursor:
        cursor.execute(HOW, {"tables": [each._meta.db_table for each in models]})
        return set(cursor.fetchall())
