"""What people and programs are told while the database cannot write, or cannot be reached."""

from __future__ import annotations

from collections.abc import Callable

from django.db import DatabaseError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from surveys.api.problems import MEDIA_TYPE, problem_body

# PostgreSQL's states, appendix A of its manual: a disk that is full arrives as OperationalError, but a server
# that lets nobody write (25006) as InternalError, like faults of ours.
READ_ONLY = "25006"
WAIT_SECONDS = 60


class UnwritableMiddleware:
    """Answers 503 in plain words where the database is at fault; its transaction has left nothing behind."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponse | None:
        """Django's hook for what a view raised; None leaves the fault to others."""
        return unwritable(request) if is_database_trouble(fault) else None


def unwritable(request: HttpRequest) -> HttpResponse:
    """503 with when to come again: a page, or a problem for programs."""
    answer = _to_program() if request.path.startswith("/api/") else _to_reader(request)
    answer["Retry-After"] = str(WAIT_SECONDS)
    return answer


def is_database_trouble(fault: Exception) -> bool:
    """Whether the server, not the statement, is at fault."""
    if isinstance(fault, OperationalError | InterfaceError):
        return True
    return isinstance(fault, DatabaseError) and getattr(fault.__cause__, "sqlstate", None) == READ_ONLY


def _to_reader(request: HttpRequest) -> HttpResponse:
    # Without the request: its session and account may be out of reach as well.
    page = render_to_string("503.html", {"was_sent": request.method == "POST"})
    return HttpResponse(page, status=503)


def _to_program() -> HttpResponse:
    detail = _("The portal cannot save at the moment. Nothing of this request was saved; send it again later.")
    return JsonResponse(problem_body(503, detail), status=503, content_type=MEDIA_TYPE)
