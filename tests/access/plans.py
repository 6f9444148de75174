"""What PostgreSQL would do for a query, read from its EXPLAIN."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import connection

# So many rows are read in a few milliseconds, whatever they are read for.
ALLOWANCE, IN_PROPORTION = 2_000, 10


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


def wasted_readings(queries: Iterable[str], tables: Iterable[str], allowance: int = ALLOWANCE) -> list[str]:
    """Where a query, really run, reads far more rows of one of these tables than it gives: table and numbers.

    Ten read for each one given are in proportion, and so is whatever stays below the allowance.
    """
    watched = set(tables)
    return [
        f"{node['Relation Name']}: {read:,.0f} rows read by {node['Node Type']} for {plan['Actual Rows']:,.0f}"
        for plan in (_plan(query, "ANALYZE, TIMING OFF, ") for query in queries if query.startswith("SELECT"))
        for node in _nodes(plan)
        if node.get("Relation Name") in watched
        and (read := _rows_read(node)) > allowance + IN_PROPORTION * plan["Actual Rows"]
    ]


def _rows_read(node: dict[str, Any]) -> float:
    removed = sum(node.get(f"Rows Removed by {why}", 0) for why in ("Filter", "Index Recheck"))
    return float((node["Actual Rows"] + removed) * node["Actual Loops"])


def _plan(query: str, how: str = "") -> dict[str, Any]:
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN ({how}FORMAT JSON) " + query.replace("%", "%%"), [])
        (answer,) = cursor.fetchone()
    plans = json.loads(answer) if isinstance(answer, str) else answer
    found: dict[str, Any] = plans[0]["Plan"]
    return found


def _nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for part in plan.get("Plans", ()):
        yield from _nodes(part)
