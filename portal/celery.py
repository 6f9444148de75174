"""The Celery application: tasks live in each app's `tasks` module."""

import os
from typing import Any

from celery import Celery, Task
from celery.signals import beat_init, worker_init
from django.core.exceptions import ImproperlyConfigured

from portal.accounts.walls import closed
from portal.serving.safe_start import refuse_unsafe_start
from portal.serving.tracing import trace_if_asked

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")


class WalledTask(Task):  # type: ignore[type-arg]
    """A task that begins with no group's rows, whatever the one before it was for."""

    def __call__(self, *words: Any, **named: Any) -> Any:
        with closed():
            return super().__call__(*words, **named)


app = Celery("portal", task_cls=WalledTask)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect
@beat_init.connect
def refuse(**_sent: Any) -> None:
    """End worker or scheduler; Celery would only note any other exception of a receiver, and go on."""
    try:
        refuse_unsafe_start()
    except ImproperlyConfigured as refusal:
        raise SystemExit(str(refusal)) from refusal


@worker_init.connect
def trace(**_sent: Any) -> None:
    """Before the worker's own processes are made, which go on with it."""
    trace_if_asked("worker")


@worker_init.connect
def make_ready(**_sent: Any) -> None:
    """Once for the worker's processes: the first alert after a start must not wait for it."""
    # Here, because the portal's apps must be loaded before.
    from portal.serving.readying import make_ready_to_draw

    make_ready_to_draw()
