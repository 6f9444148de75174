from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class AuditConfig(AppConfig):
    name = "portal.audit"
    label = "audit"

    def ready(self) -> None:
        post_migrate.connect(_watch_new_tables, sender=self)


def _watch_new_tables(using: str, **_rest: Any) -> None:
    """After the last of a run of migrations: a new table is watched without anybody having to think of it."""
    # Models can be imported only once all apps are there.
    from portal.audit.watching import attach_triggers

    attach_triggers(using)
