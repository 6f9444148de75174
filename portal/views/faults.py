"""What people and programs are told where no view answers: pages with a way on, or problem details."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import Resolver404, resolve
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
    if _is_lost_file(fault):
        return _lost_file(request)
    if request.path.startswith("/api/"):
        return _problem(500, _("Something went wrong. The portal's operator finds more in the log."))
    return defaults.server_error(request)


class WrongMethodMiddleware:
    """A page for whoever opens the address of a form, as one does by signing in while sending it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if answer.status_code != 405 or request.method != "GET" or request.path.startswith("/api/"):
            return answer
        page = render(request, "405.html", {"back": nearest_page(request.path)}, status=405)
        page["Allow"] = answer["Allow"]
        return page


def nearest_page(path: str) -> str:
    """The nearest address above this one that there is: a form's own page, or the start."""
    above = [f"{str(each).rstrip('/')}/" for each in PurePosixPath(path).parents]
    return next(each for each in above if _exists(each))


def _exists(path: str) -> bool:
    try:
        resolve(path)
    except Resolver404:
        return False
    return True


def _is_lost_file(fault: BaseException | None) -> bool:
    """A file that a row names and nobody finds: deleted past the portal, or not restored with the database."""
    if not (isinstance(fault, FileNotFoundError) and isinstance(fault.filename, str)):
        return False
    return Path(fault.filename).is_relative_to(settings.MEDIA_ROOT)


def _lost_file(request: HttpRequest) -> HttpResponse:
    """404, while the log keeps the fault for the portal's operator."""
    if request.path.startswith("/api/"):
        return _problem(404, _("This file is no longer where the portal kept it."))
    return render(request, "lost_file.html", status=404)


def _problem(status: int, detail: str) -> HttpResponse:
    return JsonResponse(problem_body(status, detail), status=status, content_type=MEDIA_TYPE)
