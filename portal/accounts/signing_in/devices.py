"""A mail to whoever signs in on a device that they have not used before.

A browser that was used to sign in keeps a signed note of whose, for a year; it opens nothing.
"""

from __future__ import annotations

from allauth.account.adapter import get_adapter
from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from portal.accounts.models import User

SALT = "accounts.known-device"
KEPT_SECONDS = 365 * 86_400
# A group's tablet is used by many.
MOST_PEOPLE = 20
# The first that fits names the browser: most call themselves by several names.
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser", "Samsung Internet"),
    ("Firefox", "Firefox"),
    ("FxiOS", "Firefox"),
    ("Chrome", "Chrome"),
    ("CriOS", "Chrome"),
    ("Safari", "Safari"),
)
SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS", "Mac"),
    ("CrOS", "Chromebook"),
    ("Linux", "Linux"),
)


def device_of(user_agent: str) -> str:
    """What a browser says of itself, in words: "Firefox, Android"."""
    known = [next((word for sign, word in names if sign in user_agent), "") for names in (BROWSERS, SYSTEMS)]
    return ", ".join(word for word in known if word) or _("an unknown device")


def greet_device(request: HttpRequest, user: User, response: HttpResponse) -> None:
    """Tell the person of a new device, and know it from now on."""
    known, own = _people_of(request), _mark_of(user)
    if own not in known:
        context = {"user": user, "device": device_of(request.headers.get("User-Agent", ""))}
        get_adapter(request).send_notification_mail("account/email/new_device", user, context)
    know_device(request, user, response)


def know_device(request: HttpRequest, user: User, response: HttpResponse) -> None:
    """Note in the browser that the person has signed in there."""
    own = _mark_of(user)
    people = [own, *(each for each in _people_of(request) if each != own)][:MOST_PEOPLE]
    response.set_cookie(
        settings.DEVICE_COOKIE_NAME,
        signing.dumps(people, salt=SALT),
        max_age=KEPT_SECONDS,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def _people_of(request: HttpRequest) -> list[str]:
    try:
        kept = signing.loads(
            request.COOKIES.get(settings.DEVICE_COOKIE_NAME, ""), salt=SALT, max_age=KEPT_SECONDS
        )
    except signing.BadSignature:
        return []
    return [str(each) for each in kept]


def _mark_of(user: User) -> str:
    """Tells people apart without naming them to whoever reads the cookie."""
    return salted_hmac(SALT, str(user.pk), algorithm="sha256").hexdigest()[:16]
