"""Pages for those who run or build the portal."""

from __future__ import annotations

from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from portal.outbox.queries import oldest_owed_at
from portal.style_guide import style_guide_context

LATE_AFTER_SECONDS = 300


@never_cache
@require_safe
def health(_request: HttpRequest) -> JsonResponse:
    """Whether messages flow, for outside monitors: 200 when well, 503 when not.

    `oldest_owed_seconds` is the age of the oldest message that should have left by now.
    """
    try:
        owed_at = oldest_owed_at()
    except DatabaseError:
        return JsonResponse({"status": "down", "database": False}, status=503)
    age = int((timezone.now() - owed_at).total_seconds()) if owed_at else 0
    is_well = age <= LATE_AFTER_SECONDS
    body = {"status": "ok" if is_well else "late", "database": True, "oldest_owed_seconds": age}
    return JsonResponse(body, status=200 if is_well else 503)


@require_safe
def style_guide(request: HttpRequest) -> HttpResponse:
    """Every token and component on one page, for developers."""
    return render(request, "portal/style_guide.html", style_guide_context())
