"""Celery tasks that watch incidents."""

from __future__ import annotations

from celery import shared_task

from alerts.services.repeat_watch import watch_repeats
from alerts.services.watching import watch_all


@shared_task(name="alerts.tasks.watch_incidents", expires=120)
def watch_incidents() -> int:
    """Send held alerts that are due and escalate what nobody has acknowledged."""
    return watch_all()


@shared_task(name="alerts.tasks.watch_repeat_visits", expires=120)
def watch_repeat_visits() -> int:
    """Offer, remind of and give up repeat visits as the days go by."""
    return watch_repeats()
