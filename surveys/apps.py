from django.apps import AppConfig


class SurveysConfig(AppConfig):
    name = "surveys"
    label = "surveys"

    def ready(self) -> None:
        """Listen to messages of safe returns that could not be delivered."""
        from portal.outbox.failures import on_failed
        from surveys.services.return_watch import on_return_message_failed

        on_failed(on_return_message_failed)
