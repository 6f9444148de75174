"""What every page's frame needs: the person, the group they are in and the ways on from here."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest


def shell(request: HttpRequest) -> dict[str, Any]:
    """Template context of the frame; views set `request.current_group`."""
    return {
        "person": getattr(request, "person", None),
        "current_group": getattr(request, "current_group", None),
        "nav_items": [],
    }
