"""Messages that a page shows once, in a cookie that only this very host can have set."""

from __future__ import annotations

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage
from django.contrib.messages.storage.fallback import FallbackStorage
from django.contrib.messages.storage.session import SessionStorage


class HostCookieStorage(CookieStorage):
    """Django's, under the name of the settings, which in production begins with `__Host-`."""

    cookie_name = settings.MESSAGES_COOKIE_NAME


class PassingMessages(FallbackStorage):
    """Short messages in the cookie, so that a reader who is not signed in needs no session; long ones there."""

    storage_classes = (HostCookieStorage, SessionStorage)
