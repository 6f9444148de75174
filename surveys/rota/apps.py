from django.apps import AppConfig


class RotaConfig(AppConfig):
    name = "surveys.rota"
    label = "rota"

    def ready(self) -> None:
        """Register the kind of long work."""
        import surveys.rota.services.proposing  # noqa: F401
