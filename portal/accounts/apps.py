from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class AccountsConfig(AppConfig):
    name = "portal.accounts"
    label = "accounts"

    def ready(self) -> None:
        post_migrate.connect(_raise_the_wall, sender=self)
        from portal.accounts.signing_in import hooks

        hooks.connect()


def _raise_the_wall(using: str, **_rest: Any) -> None:
    """After the last of a run of migrations: a new table is guarded without anybody having to think of it."""
    # Models can be imported only once all apps are there.
    from portal.accounts.role import raise_the_wall

    raise_the_wall(using)
