"""When more people ask than the portal can serve, whoever waited too long is refused at once, in plain words.

A request that waits is one whose last byte came long ago and that no thread had time for. So the time it has
waited is what the line itself tells: how long ago anything was received on it. Refusing costs a thousandth of
what a page costs, so a queue that grew too long is gone in a moment, and nobody waits for an answer that comes
when they have left.
"""

from __future__ import annotations

import secrets
import socket
import struct
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from surveys.api.problems import MEDIA_TYPE, problem_body

# tcpi_last_data_recv in Linux's struct tcp_info: eight bytes, then eleven numbers of four.
TCP_INFO, LAST_RECEIVED, SIZE = getattr(socket, "TCP_INFO", None), 52, 56
# Whoever looks after the portal is told how it is, however busy it may be.
NEVER_REFUSED = ("/health/", "/metrics/")
# Not all at once again, s.
SOONEST, SPREAD = 10, 20
# A visit with room to spare, bytes; the proxy holds whatever comes slowly.
MOST_TAKEN_IN = 4 * 1024 * 1024


class OverloadMiddleware:
    """Answers 503 with Retry-After to what has waited longer than LONGEST_WAIT seconds for a thread."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not 0 < settings.LONGEST_WAIT < seconds_waited(request.META.get("gunicorn.socket")):
            return self.get_response(request)
        if request.path.startswith(NEVER_REFUSED):
            return self.get_response(request)
        return refusal(request)


def seconds_waited(line: Any) -> float:
    """How long ago the last byte came in; 0 where that cannot be told (no TCP, not Linux)."""
    if TCP_INFO is None or getattr(line, "family", None) not in {socket.AF_INET, socket.AF_INET6}:
        return 0.0
    try:
        told = line.getsockopt(socket.IPPROTO_TCP, TCP_INFO, SIZE)
    except OSError:
        return 0.0
    milliseconds: int = struct.unpack_from("I", told, LAST_RECEIVED)[0]
    return milliseconds / 1000


def refusal(request: HttpRequest) -> HttpResponse:
    """The page or, for programs, the problem that says when to come again."""
    _take_in(request)
    if request.path.startswith("/api/"):
        detail = _("The portal is very busy. Nothing of this request was saved; send it again later.")
        answer: HttpResponse = JsonResponse(problem_body(503, detail), status=503, content_type=MEDIA_TYPE)
    else:
        page = render_to_string("503.html", {"is_busy": True, "was_sent": request.method == "POST"})
        answer = HttpResponse(page, status=503)
    answer["Retry-After"] = str(SOONEST + secrets.randbelow(SPREAD))
    answer["Cache-Control"] = "no-store"
    return answer


def _take_in(request: HttpRequest) -> None:
    """Read what was sent: a line closed with bytes unread is reset, and the answer may be lost with it."""
    left = MOST_TAKEN_IN
    while left > 0 and (piece := request.read(65_536)):
        left -= len(piece)
