"""Celery tasks of the audit trail."""

from __future__ import annotations

from celery import shared_task

from portal.audit.sealing import seal_waiting


@shared_task(expires=60)
def seal_trail() -> None:
    """Seal what was written to the trail since the last time."""
    seal_waiting(patient=False)
