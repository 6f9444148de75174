"""The web app manifest: what a phone needs to put the portal on its home screen."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from surveys.offline.icons import ICONS

TOKENS = "portal/static/css/tokens.css"


@lru_cache(maxsize=1)
def colours() -> dict[str, str]:
    """The light colours of the design's tokens by name; the first of each name is the light one."""
    text = (settings.BASE_DIR / TOKENS).read_text()
    found = re.findall(r"--([\w-]+): (#[0-9a-f]{6});", text)
    return dict(reversed(found))


def manifest() -> dict[str, Any]:
    """The manifest as plain data."""
    home = reverse("bank_home")
    return {
        "id": home,
        "name": "Rifflebook",
        "short_name": "Rifflebook",
        "description": _("River sites, visits and what was found, also without a network."),
        "lang": settings.LANGUAGE_CODE,
        "start_url": home,
        # The whole portal, so that the desk opens in the same window as the bank pages.
        "scope": "/",
        "display": "standalone",
        "background_color": colours()["paper"],
        "theme_color": colours()["deep"],
        "icons": [_icon(name) for name in ICONS if name != "180"],
        "shortcuts": [{"name": words, "url": reverse(name)} for name, words in shortcuts()],
    }


def shortcuts() -> list[tuple[str, str]]:
    """What a long press on the icon offers."""
    return [
        ("bank_home", _("On the bank")),
        ("bank_timer", _("Practise the timer")),
        ("bank_key", _("What is it?")),
    ]


def _icon(name: str) -> dict[str, str]:
    icon = ICONS[name]
    return {
        "src": reverse("bank_icon", args=[name]),
        "sizes": f"{icon.size}x{icon.size}",
        "type": "image/png",
        "purpose": "maskable" if icon.is_maskable else "any",
    }
