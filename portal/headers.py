"""Headers that hold for every answer, besides those of Django and the content security policy."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

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


class SafeHeadersMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        # No page of somebody else's may take in our pictures, files or scripts.
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response
