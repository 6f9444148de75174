"""Pages for those who run or build the portal."""

from __future__ import annotations

from collections.abc import Mapping

from django.conf import settings
from django.db import DatabaseError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST

from portal.audit.metrics import TrailCollector
from portal.audit.sealing import Unsealed, unsealed
from portal.outbox.heartbeats import seconds_since
from portal.outbox.metrics import metrics_page
from portal.outbox.queries import LATE_AFTER, oldest_owed_seconds
from portal.style_guide import style_guide_context

# The trail is sealed every minute; a transaction that was long under way may bring older rows.
UNSEALED_AFTER_SECONDS = 1_800
# The scheduler asks for a sweep every 10 s and a worker makes it: two minutes of silence are no hiccup.
SILENT_AFTER_SECONDS = 120


@never_cache
@require_safe
def health(_request: HttpRequest) -> JsonResponse:
    """Whether messages flow, for outside monitors: 200 when well, 503 when not.

    `oldest_owed_seconds` is the age of the oldest message that should have left by now; `worker_seconds` and
    `scheduler_seconds` tell how long ago each was last alive, null when it never was; `unsealed_seconds` is how
    long the oldest row of the audit trail has waited for its seal.
    """
    try:
        age, alive, waiting = oldest_owed_seconds(), seconds_since(), unsealed()
    except DatabaseError:
        return JsonResponse({"status": "down", "database": False}, status=503)
    state = _state(age, alive, waiting)
    body = {"status": state, "database": True, "oldest_owed_seconds": age, "unsealed_seconds": waiting.seconds}
    body |= {f"{part}_seconds": seconds for part, seconds in alive.items()}
    return JsonResponse(body, status=200 if state == "ok" else 503)


def _state(age: float, alive: Mapping[str, int | None], waiting: Unsealed) -> str:
    if age > LATE_AFTER.total_seconds():
        return "late"
    if any(each is None or each > SILENT_AFTER_SECONDS for each in alive.values()):
        return "silent"
    return "unsealed" if waiting.seconds > UNSEALED_AFTER_SECONDS else "ok"


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Figures for Prometheus, for whoever shows METRICS_TOKEN; without such a setting the page is not there."""
    given = request.headers.get("Authorization", "").removeprefix("Bearer ")
    if not settings.METRICS_TOKEN or not constant_time_compare(given, settings.METRICS_TOKEN):
        raise Http404
    return HttpResponse(metrics_page(TrailCollector()), content_type=CONTENT_TYPE_LATEST)


@require_safe
def style_guide(request: HttpRequest) -> HttpResponse:
    """Every token and component on one page, for developers."""
    return render(request, "portal/style_guide.html", style_guide_context())
