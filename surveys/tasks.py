"""Celery tasks of the surveys."""

from __future__ import annotations

from celery import shared_task

from surveys.services.imports import forget_old_sheets
from surveys.services.return_watch import watch_returns


@shared_task(name="surveys.tasks.watch_safe_returns", expires=60)
def watch_safe_returns() -> int:
    """Remind and tell whoever is due to be told of safe returns that nobody has ended."""
    return watch_returns()


@shared_task(name="surveys.tasks.clear_old_sheets")
def clear_old_sheets() -> int:
    """Remove spreadsheets that were kept long enough."""
    return forget_old_sheets()
