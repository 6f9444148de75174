"""What PostgreSQL would do for a query, read from its EXPLAIN."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import connection


def full_scans(queries: Iterable[str], tables: Iterable[str]) -> list[str]:
    """Where one of these tables would be read from end to end for a few of its rows: table and condition."""
    watched = set(tables)
    return [
        f"{node['Relation Name']}: {node['Filter']}"
        for query in queries
        if query.startswith("SELECT")
        for node in _nodes(_plan(query))
        if node["Node Type"] == "Seq Scan" and node["Relation Name"] in watched and "Filter" in node
    ]


def _plan(query: str) -> dict[str, Any]:
    with connection.cursor() as cursor:
        cursor.execute("EXPLAIN (FORMAT JSON) " + query.replace("%", "%%"), [])
        (answer,) = cursor.fetchone()
    plans = json.loads(answer) if isinstance(answer, str) else answer
    found: dict[str, Any] = plans[0]["Plan"]
    return found


def _nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for part in plan.get("Plans", ()):
        yield from _nodes(part)
