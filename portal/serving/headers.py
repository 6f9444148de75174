"""Headers that hold for every answer, besides those of Django and the content security policy."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_cache_control

# What our own pages use: a position that somebody confirms, a screen that stays on while a kick is timed.
OWN_PAGES = ("geolocation", "screen-wake-lock")
NOBODY = (
    "accelerometer",
    "camera",
    "display-capture",
    "gyroscope",
    "hid",
    "magnetometer",
    "microphone",
    "midi",
    "payment",
    "serial",
    "usb",
    "xr-spatial-tracking",
)
PERMISSIONS = ", ".join([f"{name}=(self)" for name in OWN_PAGES] + [f"{name}=()" for name in NOBODY])


def is_somebodys(request: HttpRequest, response: HttpResponse) -> bool:
    """Whether an answer may hold what one person alone may see, told by the session or the key that was shown.

    Not by who it is, which would read the session on pages that do without.
    """
    session = settings.SESSION_COOKIE_NAME
    return session in request.COOKIES or session in response.cookies or "Authorization" in request.headers


class SafeHeadersMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        # No page of somebody else's may take in our pictures, files or scripts.
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        # A view that says by itself how long its answer keeps knows why: public pages, the bank's own files.
        if is_somebodys(request, response) and "Cache-Control" not in response.headers:
            patch_cache_control(response, private=True, no_store=True)
        return response
