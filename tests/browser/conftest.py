"""A real browser on a live server.

`page_for(user)` opens a page on which that person is signed in; `page_for()` one for nobody. A test fails
when a page it opened met a script error or broke the content security policy.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, expect, sync_playwright
from pytest_django.live_server_helper import LiveServer

from portal.accounts.models import User
from tests.browser.checks import WIDE, PageFor, assert_accessible, session_key_for
from tests.chance import ALL

__all__ = ["assert_accessible"]

# Playwright keeps an event loop in the test's own thread, which Django takes for asynchronous code.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
# Only a failing test waits so long, or a machine that is busy with others.
PATIENCE_MS = 60_000
expect.set_options(timeout=PATIENCE_MS)
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# What Playwright says of a step or a page that took longer than its patience.
RAN_OUT = ["TimeoutError", "with timeout"]


# By preference: without a window to draw, the first takes half the time.
PROGRAMS = ("chromium-headless-shell", "chromium", "chromium-browser")


def chromium() -> str:
    """The Chromium of this machine; `CHROMIUM` names another one."""
    program = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, PROGRAMS)), None)
    assert program, "The browser tests need Chromium: install it or name it in CHROMIUM."
    return program


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let what ran out of time in the browser try once more and be named at the end; none in the long suite.

    A machine shared with others may stop for longer than any patience. What fails twice, or otherwise, fails.
    """
    if ALL:
        return
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.flaky(reruns=1, only_rerun=RAN_OUT))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def page_for(browser: Browser, live_server: LiveServer) -> Iterator[PageFor]:
    """Open a page of one's own, signed in as a given user: `page_for(user, width=360)`.

    `service_workers="allow"` lets it keep pages for the bank; elsewhere a worker would only ask unseen.
    """
    contexts: list[BrowserContext] = []
    faults: list[str] = []

    def open_page(user: User | None = None, width: int = WIDE, **options: Any) -> Page:
        options = {"service_workers": "block"} | options
        context = browser.new_context(
            base_url=live_server.url, viewport={"width": width, "height": 900}, locale="en-GB", **options
        )
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        if user is not None:
            cookie = {"name": "sessionid", "value": session_key_for(user), "url": live_server.url}
            context.add_cookies([cookie])  # type: ignore[list-item]
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda message: _note_fault(message, faults))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not faults, f"The browser reported: {faults}"


def _note_fault(message: ConsoleMessage, faults: list[str]) -> None:
    # The browser also reports every 4xx answer and lost connection as an error; tests cause those on purpose.
    if message.type == "error" and not message.text.startswith("Failed to load resource"):
        faults.append(message.text)
