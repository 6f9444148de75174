"""Celery tasks of the rota."""

from __future__ import annotations

from celery import shared_task

from surveys.rota.services.reminders import remind_of_visits


@shared_task(name="rota.tasks.remind", expires=600)
def remind() -> int:
    """Remind people of their visits."""
    return remind_of_visits()
