"""What every page must bear, and how a person signs in without typing."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from typing import Any
from urllib.parse import urlsplit

from axe_playwright_python.base import AxeResults
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Page

from portal.accounts.models import User
from tests.chance import drawn
from tests.second_factor import mark

NARROW, WIDE = 320, 1280
HEIGHT = 900
PageFor = Callable[..., Page]
NUMBER = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|\d+")
_axe = Axe()
# Only the violations come back: the rest is most of what axe has to say.
RUN = """async (enabled) => {
  const rules = { "color-contrast": { enabled } };
  const { violations } = await axe.run({ resultTypes: ["violations"], rules });
  return { violations };
}"""


def session_key_for(user: User) -> str:
    """The key of a new session in which `user` is signed in."""
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    mark(session, user)
    session.create()
    return str(session.session_key)


def assert_accessible(page: Page, *, with_colors: bool = True, axe_at: Collection[int] | None = None) -> None:
    """Fail when axe finds a fault, or the page is wider than the screen, at 320 or 1280 px.

    Axe takes most of a browser test's time and hardly ever finds at one width what it does not at the other: it
    looks at the width that the day draws for the address, at both in the long suite, or at those of `axe_at`.
    """
    before = page.viewport_size
    for width in (NARROW, WIDE):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        if width in (_drawn_widths(page) if axe_at is None else axe_at):
            _assert_no_violations(page, width, with_colors)
        _assert_fits(page, width)
    if before:
        page.set_viewport_size(before)


def _drawn_widths(page: Page) -> list[int]:
    return drawn((NARROW, WIDE), 1, NUMBER.sub("", urlsplit(page.url).path))


def _assert_no_violations(page: Page, width: int, with_colors: bool) -> None:
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(_axe.axe_script)
    results: Any = AxeResults(page.evaluate(RUN, with_colors))
    assert results.violations_count == 0, f"{page.url} at {width} px: {results.generate_report()}"


def _assert_fits(page: Page, width: int) -> None:
    needed = page.evaluate("document.documentElement.scrollWidth")
    assert needed <= width, f"{page.url} needs {needed} px at {width} px"
