"""Celery tasks of the public pages."""

from __future__ import annotations

from celery import shared_task

from portal.public.data.services import request_what_is_due


@shared_task
def keep_open_data() -> None:
    """Order the files of groups whose records have changed."""
    request_what_is_due()
