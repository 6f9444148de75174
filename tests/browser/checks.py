"""What every page must bear, and how a person signs in without typing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Page

from portal.accounts.models import User
from tests.second_factor import mark

NARROW, WIDE = 320, 1280
HEIGHT = 900
PageFor = Callable[..., Page]
_axe = Axe()


def session_key_for(user: User) -> str:
    """The key of a new session in which `user` is signed in."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    mark(session, user)
    session.create()
    return str(session.session_key)


def assert_accessible(page: Page) -> None:
    """Fail when axe finds a fault, or the page is wider than the screen, at 320 or 1280 px."""
    before = page.viewport_size
    for width in (NARROW, WIDE):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        _assert_no_violations(page, width)
        _assert_fits(page, width)
    if before:
        page.set_viewport_size(before)


def _assert_no_violations(page: Page, width: int) -> None:
    results: Any = _axe.run(page)
    assert results.violations_count == 0, f"{page.url} at {width} px: {results.generate_report()}"


def _assert_fits(page: Page, width: int) -> None:
    needed = page.evaluate("document.documentElement.scrollWidth")
    assert needed <= width, f"{page.url} needs {needed} px at {width} px"
