from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "portal.reports"
    label = "reports"

    def ready(self) -> None:
        """Keep loaded visits that a published report has counted, and register the kinds of long work."""
        import portal.reports.services  # noqa: F401
        from portal.audit.verifying import ask_witnesses
        from portal.reports.import_holds import visits_of_reports
        from portal.reports.queries import heads_in_reports
        from surveys.importing.holds import on_undoing

        on_undoing(visits_of_reports)
        ask_witnesses(heads_in_reports)
