"""Celery tasks of the rota."""

from __future__ import annotations

from celery import shared_task

from surveys.rota.services.leavers import release_places_of_leavers
from surveys.rota.services.reminders import remind_of_visits


@shared_task(name="rota.tasks.remind", expires=600)
def remind() -> int:
    """Open the places of those who left, then remind people of their visits."""
    try:
        release_places_of_leavers()
    finally:
        # Whoever goes tomorrow is reminded whatever is wrong with another's place.
        reminded = remind_of_visits()
    return reminded
