"""Celery tasks about what is kept of people."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from portal.privacy.erasing import erase_whoever_is_due
from portal.privacy.sweeping import let_go_what_is_due


@shared_task(expires=3600)
def let_go() -> int:
    """Let go what was kept for long enough, then erase whoever asked for it and did not stop it."""
    now = timezone.now()
    return let_go_what_is_due(now) + erase_whoever_is_due(now)
