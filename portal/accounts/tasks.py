"""Celery tasks of accounts."""

from __future__ import annotations

from celery import shared_task

from portal.accounts.signing_in.sessions import clear_ended_sessions


@shared_task
def forget_ended_sessions() -> None:
    """Sessions that have run out, with what was kept of where they were made."""
    clear_ended_sessions()
