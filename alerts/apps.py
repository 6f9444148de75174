from django.apps import AppConfig


class AlertsConfig(AppConfig):
    name = "alerts"
    label = "alerts"

    def ready(self) -> None:
        """Listen to judged visits and failed messages, and offer the picture for the mails."""
        from alerts.listeners import on_visit_judged
        from alerts.pictures import SITE_HISTORY, draw_history_picture
        from alerts.services.drills import on_drill_failed
        from alerts.services.watching import on_message_failed
        from portal.outbox.failures import on_failed
        from portal.outbox.pictures import register_picture
        from surveys.models import Visit
        from surveys.signals import visit_judged

        visit_judged.connect(on_visit_judged, sender=Visit, dispatch_uid="alerts.on_visit_judged")
        on_failed(on_message_failed)
        on_failed(on_drill_failed)
        register_picture(SITE_HISTORY, draw_history_picture)
