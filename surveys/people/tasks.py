"""Celery tasks about people."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from surveys.people.services.trainings import remind_of_trainings


@shared_task(name="surveys.people.tasks.remind_of_lapsing", expires=3600)
def remind_of_lapsing() -> int:
    """Remind whoever's training lapses soon, once."""
    return remind_of_trainings(timezone.localdate())
