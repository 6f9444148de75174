"""Says of each request that it came by a page, and from where."""

from __future__ import annotations

from collections.abc import Callable

from allauth.account.adapter import get_adapter
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.http import HttpRequest, HttpResponseBase

from portal.audit.origins import Way, coming_from


class OriginMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        with coming_from(Way.PAGE, address=client_address(request)):
            return self.get_response(request)


def client_address(request: HttpRequest) -> str | None:
    """The client's address as our proxies tell it (`PROXIES`); None where it cannot be told."""
    try:
        return str(get_adapter().get_client_ip(request))
    except (PermissionDenied, ImproperlyConfigured):
        # A request that came past the proxies, or over a socket.
        return None
