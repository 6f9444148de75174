"""Signs of life of what works in the background, kept in the database that everybody reaches."""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping
from typing import Any

from celery.signals import beat_init, before_task_publish
from django.db import DatabaseError
from django.utils import timezone

from portal.outbox.models import Heartbeat

log = logging.getLogger(__name__)

WORKER, SCHEDULER = "worker", "scheduler"
PARTS = (WORKER, SCHEDULER)
# The scheduler publishes several jobs a minute; a sign of life each would be writing for nothing.
PAUSE_SECONDS = 5.0
_last_beat = 0.0


def note_alive(name: str) -> None:
    """Write that a part is alive now; a database that is away is no reason for the part to stop."""
    try:
        Heartbeat.objects.update_or_create(name=name, defaults={"at": timezone.now()})
    except DatabaseError:
        log.warning("The sign of life of the %s could not be written.", name)


def seconds_since() -> Mapping[str, int | None]:
    """For each part, how long ago it was last alive, s; None when it never was. Raises DatabaseError."""
    now = timezone.now()
    seen = dict(Heartbeat.objects.values_list("name", "at"))
    # A sign from the future, before the clock was set back, proves as little as an old one.
    return {part: abs(int((now - seen[part]).total_seconds())) if part in seen else None for part in PARTS}


@beat_init.connect
def _watch_scheduler(**_given: Any) -> None:
    # Only in the scheduler's own process: web and workers publish jobs as well.
    before_task_publish.connect(_scheduler_alive, weak=False)


def _scheduler_alive(**_given: Any) -> None:
    global _last_beat
    if time.monotonic() - _last_beat >= PAUSE_SECONDS:
        _last_beat = time.monotonic()
        note_alive(SCHEDULER)
