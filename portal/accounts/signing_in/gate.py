"""Until the second factor is there, a session that needs one opens account pages only."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import resolve_url
from django.urls import reverse
from django.utils.functional import SimpleLazyObject

from portal.accounts.access import NOBODY
from portal.accounts.signing_in.second_factor import is_asked_of, is_proven
from portal.accounts.walls import shut

# Pages about signing in, among them those where a factor is set up; none of them shows anything of a group.
ACCOUNT_PAGES = frozenset({"session_list", "language_choose"})
ACCOUNT_PREFIXES = ("account_", "mfa_")


def is_account_page(name: str | None) -> bool:
    """Whether the address of this name opens to a session without its second factor."""
    return name is not None and (name in ACCOUNT_PAGES or name.startswith(ACCOUNT_PREFIXES))


class SecondFactorMiddleware:
    """Everywhere but on account pages such a session is nobody's.

    So whatever is open to everybody stays open (public pages, the link in an alert), and nothing else does,
    whichever way its view asks who comes.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if lacks_second_factor(request) and _asks_to_sign_in(response):
            return _to_second_factor(request)
        return response

    def process_view(
        self, request: HttpRequest, _view: object, _args: object, _kwargs: object
    ) -> HttpResponse | None:
        """Make the request nobody's; who comes to the first page is led on at once."""
        name = request.resolver_match.url_name if request.resolver_match else None
        as_any: Any = request
        try:
            if is_account_page(name) or not _must_prove(request):
                return None
        except DatabaseError as fault:
            # For the view to say what is wrong with the database, as soon as it asks who comes.
            as_any.user = as_any.person = SimpleLazyObject(partial(_raise, fault))
            return None
        as_any.user, as_any.person, as_any.lacks_second_factor = AnonymousUser(), NOBODY, True
        shut()
        return _to_second_factor(request) if name == "home" else None


def lacks_second_factor(request: HttpRequest) -> bool:
    """Whether somebody is signed in here whose second factor is missing."""
    return bool(getattr(request, "lacks_second_factor", False))


def _must_prove(request: HttpRequest) -> bool:
    if settings.SESSION_COOKIE_NAME not in request.COOKIES:
        return False
    as_any: Any = request
    return bool(request.user.is_authenticated) and not is_proven(request) and is_asked_of(as_any.person)


def _raise(fault: Exception) -> None:
    raise fault


def _asks_to_sign_in(response: HttpResponse) -> bool:
    return response.status_code == 302 and response["Location"].startswith(resolve_url(settings.LOGIN_URL))


def _to_second_factor(request: HttpRequest) -> HttpResponseRedirect:
    query = "?" + urlencode({"next": request.get_full_path()}) if request.method == "GET" else ""
    return HttpResponseRedirect(reverse("mfa_index") + query)
