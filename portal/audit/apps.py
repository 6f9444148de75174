from typing import Any

from celery.signals import task_postrun, task_prerun
from django.apps import AppConfig
from django.db.models.signals import post_migrate


class AuditConfig(AppConfig):
    name = "portal.audit"
    label = "audit"

    def ready(self) -> None:
        post_migrate.connect(_watch_new_tables, sender=self)
        # Models can be imported only once all apps are there.
        from portal.audit.account_events import connect

        connect()
        task_prerun.connect(_begin_task)
        task_postrun.connect(_end_task)


def _watch_new_tables(using: str, **_rest: Any) -> None:
    """After the last of a run of migrations: a new table is watched without anybody having to think of it."""
    # Models can be imported only once all apps are there.
    from portal.audit.watching import attach_triggers

    attach_triggers(using)


def _begin_task(task: Any, **_rest: Any) -> None:
    """What a task of the worker changes came by that task."""
    # The register of apps is not whole yet when this module is imported.
    from portal.audit.origins import Way, begin

    begin(Way.TASK, task.name)


def _end_task(**_rest: Any) -> None:
    from portal.audit.origins import begin

    begin("", "")
