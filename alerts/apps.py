from django.apps import AppConfig


class AlertsConfig(AppConfig):
    name = "alerts"
    label = "alerts"

    def ready(self) -> None:
        """Listen to judged visits, failed messages and who leaves, and offer the picture for the mails."""
        from alerts.evidence.holds import visits_of_incidents
        from alerts.evidence.picture import INCIDENT, SITE_HISTORY, draw_history_picture, draw_incident_picture
        from alerts.judging.choosing import BY_VERDICT
        from alerts.listeners import on_visit_judged
        from alerts.services.drills import on_drill_failed
        from alerts.services.repeat_course import free_repeats_of
        from alerts.services.watching import on_message_failed
        from portal.accounts import moments
        from portal.outbox.failures import on_failed
        from portal.outbox.pictures import register_picture
        from surveys.forms.filtering import offer_choice
        from surveys.importing.holds import on_undoing
        from surveys.models import Visit
        from surveys.signals import visit_judged

        visit_judged.connect(on_visit_judged, sender=Visit, dispatch_uid="alerts.on_visit_judged")
        moments.when_left(free_repeats_of)
        on_failed(on_message_failed)
        on_failed(on_drill_failed)
        on_undoing(visits_of_incidents)
        offer_choice("verdict", BY_VERDICT)
        register_picture(SITE_HISTORY, draw_history_picture)
        register_picture(INCIDENT, draw_incident_picture)
