"""Celery tasks of the surveys."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task
from django.utils import timezone

from surveys.services.rescoring import stalled_runs, work_off
from surveys.services.return_watch import watch_returns


@shared_task(name="surveys.tasks.watch_safe_returns", expires=60)
def watch_safe_returns() -> int:
    """Remind and tell whoever is due to be told of safe returns that nobody has ended."""
    return watch_returns()


@shared_task
def run_rescoring(run_id: str) -> None:
    """Work one run off."""
    work_off(UUID(run_id))


@shared_task
def resume_rescoring() -> None:
    """Take up what a dead worker or a missed nudge has left."""
    for run_id in stalled_runs(timezone.now()):
        work_off(run_id)
