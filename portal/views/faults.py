"""What programs are told where no view answers: problem details instead of a page."""

from __future__ import annotations

import sys

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext as _
from django.views import defaults

from portal.views.unwritable import is_database_trouble, unwritable
from surveys.api.problems import MEDIA_TYPE, problem_body


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """An address that does not exist."""
    if request.path.startswith("/api/"):
        return _problem(404, _("There is nothing here that you may see."))
    return defaults.page_not_found(request, exception)


def server_error(request: HttpRequest) -> HttpResponse:
    """A fault of ours, or of a database that was out of reach before or after the view: told as in one."""
    fault = sys.exc_info()[1]
    if isinstance(fault, Exception) and is_database_trouble(fault):
        return unwritable(request)
    if request.path.startswith("/api/"):
        return _problem(500, _("Something went wrong. The portal's operator finds more in the log."))
    return defaults.server_error(request)


def _problem(status: int, detail: str) -> HttpResponse:
    return JsonResponse(problem_body(status, detail), status=status, content_type=MEDIA_TYPE)
