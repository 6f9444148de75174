from django.apps import AppConfig


class PublicConfig(AppConfig):
    name = "portal.public"
    label = "public"

    def ready(self) -> None:
        """Register the making of open data as a kind of long work."""
        import portal.public.data.work  # noqa: F401
