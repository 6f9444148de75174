from django.apps import AppConfig


class SurveysConfig(AppConfig):
    name = "surveys"
    label = "surveys"

    def ready(self) -> None:
        """Listen to messages that could not be delivered, and register the kinds of long work."""
        import surveys.services.imports
        import surveys.services.rescoring  # noqa: F401
        from portal.outbox.failures import on_failed
        from surveys.services.return_watch import on_return_message_failed

        on_failed(on_return_message_failed)
