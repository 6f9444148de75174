from collections.abc import Sequence
from typing import Any

from django.apps import AppConfig
from django.conf import settings
from django.core.checks import Error, Tags, register

from portal.empty_fields import say_what_to_do
from portal.serving.safe_start import dangers
from portal.serving.slowness import watch


class PortalConfig(AppConfig):
    name = "portal"
    label = "portal"

    def ready(self) -> None:
        watch()
        say_what_to_do()
        register(unsafe_settings, Tags.security)


def unsafe_settings(app_configs: Sequence[AppConfig] | None, **kwargs: Any) -> list[Error]:  # noqa: ARG001
    """As a system check, so that commands refuse as well and `manage.py check` lists everything."""
    return [Error(each.told, id=f"portal.unsafe_{each.variable.lower()}") for each in dangers(settings)]
