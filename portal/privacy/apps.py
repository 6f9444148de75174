from django.apps import AppConfig


class PrivacyConfig(AppConfig):
    name = "portal.privacy"
    label = "privacy"

    def ready(self) -> None:
        """Register the long work of this app."""
        import portal.privacy.work  # noqa: F401
