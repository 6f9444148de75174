"""What takes too long is logged with where it happened, and never with a value of anybody's.

The place of a query is the pattern of the page's address or the name of the task; of the query only its text
with placeholders is told.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from celery.signals import task_postrun, task_prerun
from django.conf import settings
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created
from django.http import HttpRequest, HttpResponse
from psycopg.sql import Composable

log = logging.getLogger(__name__)
ELSEWHERE = "a command or shell"
LONGEST_TEXT = 2_000
# A migration's building takes what it takes, with nobody waiting for a page.
BUILDING = re.compile(r"\s*(CREATE|ALTER|DROP|REINDEX|VACUUM|ANALYZE)\b", re.IGNORECASE)
QUOTED = re.compile(r"'(?:[^']|'')*'")
_place: ContextVar[str] = ContextVar("where queries are asked", default=ELSEWHERE)
_begun: ContextVar[float] = ContextVar("when the task began")


def without_values(sql: Any) -> str:
    """A statement on one line, what stands in quotes replaced; placeholders are no values."""
    text = sql.as_string() if isinstance(sql, Composable) else str(sql)
    return " ".join(QUOTED.sub("'…'", text).split())[:LONGEST_TEXT]


class PlaceMiddleware:
    """Says of each request where its queries are asked: the pattern of its address, never the address."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = _place.set(f"{request.method} before its address was looked up")
        try:
            return self.get_response(request)
        finally:
            _place.reset(token)

    def process_view(self, request: HttpRequest, *_view: Any) -> None:
        """Django's hook between finding the view and calling it."""
        if request.resolver_match:
            _place.set(f"{request.method} /{request.resolver_match.route}")


def note_slow_query(execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: Any) -> Any:
    """Django's wrapper around each statement."""
    begun = time.monotonic()
    try:
        return execute(sql, params, many, context)
    finally:
        took = (time.monotonic() - begun) * 1000
        if 0 < settings.SLOW_QUERY_MS < took and not BUILDING.match(text := without_values(sql)):
            log.warning("slow query: %d ms at %s: %s", took, _place.get(), text)


def watch_queries(connection: BaseDatabaseWrapper, **_sent: Any) -> None:
    """Every connection is watched once, however often it is opened."""
    if note_slow_query not in connection.execute_wrappers:
        connection.execute_wrappers.append(note_slow_query)


def begin_task(task: Any, **_sent: Any) -> None:
    _place.set(f"task {task.name}")
    _begun.set(time.monotonic())


def end_task(task: Any, **_sent: Any) -> None:
    took = (time.monotonic() - _begun.get(time.monotonic())) * 1000
    _place.set(ELSEWHERE)
    if 0 < settings.SLOW_TASK_MS < took:
        log.warning("slow task: %d ms: %s", took, task.name)


def watch() -> None:
    """Begin to look at queries and tasks of this process."""
    connection_created.connect(watch_queries)
    task_prerun.connect(begin_task)
    task_postrun.connect(end_task)
