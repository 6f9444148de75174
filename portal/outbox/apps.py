from django.apps import AppConfig


class OutboxConfig(AppConfig):
    name = "portal.outbox"
    label = "outbox"

    def ready(self) -> None:
        """Let the scheduler's process give signs of life."""
        from portal.outbox import heartbeats  # noqa: F401
