"""Celery tasks that deliver what is owed."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task

from portal.outbox.delivery import deliver, deliver_all_owed
from portal.outbox.heartbeats import WORKER, note_alive


@shared_task(name="portal.outbox.tasks.deliver_message")
def deliver_message(message_id: str) -> None:
    """Deliver one message, if it is still owed and nobody else is at it."""
    deliver(UUID(message_id))


@shared_task(name="portal.outbox.tasks.sweep_outbox", expires=30)
def sweep_outbox() -> int:
    """Deliver whatever is owed and due; return how many were tried."""
    note_alive(WORKER)
    return deliver_all_owed()
