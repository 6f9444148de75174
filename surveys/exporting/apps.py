from django.apps import AppConfig


class ExportingConfig(AppConfig):
    name = "surveys.exporting"
    label = "exporting"

    def ready(self) -> None:
        """Register large exports as a kind of job."""
        from surveys.exporting import work  # noqa: F401
