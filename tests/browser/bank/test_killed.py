"""The portal or the browser is killed at the worst moment: the visit arrives once, and nothing is lost."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection, transaction
from playwright.sync_api import Browser, BrowserContext, BrowserType, Page, expect
from pytest_django.live_server_helper import LiveServer

from surveys.models import Visit
from tests.browser.bank.server import Line, Portal
from tests.browser.bank.steps import (
    PHONE,
    assert_once,
    await_in,
    await_kept,
    await_state,
    fill_in,
    kept,
    new_number,
    open_form,
    submit,
)
from tests.browser.checks import session_key_for
from tests.browser.conftest import ARGUMENTS, chromium
from tests.conftest import Cast
from tests.owner import as_owner
from tests.processes import await_true, naming

pytestmark = [pytest.mark.browser, pytest.mark.faults, pytest.mark.django_db(transaction=True)]
WAITING = (
    "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()"
)


@pytest.fixture
def portal(cast: Cast, tmp_path: Path) -> Iterator[Portal]:
    server = Portal(tmp_path)
    server.start()
    yield server
    server.kill()


@pytest.fixture
def line(portal: Portal) -> Iterator[Line]:
    carrier = Line(portal.port)
    yield carrier
    carrier.close()


@pytest.fixture
def far_phone(cast: Cast, line: Line, browser: Browser) -> Iterator[Page]:
    """The volunteer's phone, which reaches the portal by the line."""
    context = browser.new_context(base_url=line.url, viewport={"width": PHONE, "height": 900}, locale="en-GB")
    sign_in(context, cast, line.url)
    yield context.new_page()
    context.close()


def sign_in(context: BrowserContext, cast: Cast, url: str) -> None:
    cookie = {"name": "sessionid", "value": session_key_for(cast.volunteer), "url": url}
    context.add_cookies([cookie])  # type: ignore[list-item]


# The suite kills the portal at the worse moment: when it has saved and nobody knows.
@pytest.mark.long
def test_a_portal_killed_before_it_has_saved_gets_the_visit_when_it_is_back(
    cast: Cast, portal: Portal, line: Line, far_phone: Page
) -> None:
    number = new_number()
    open_form(far_phone, cast.site, number)
    fill_in(far_phone)
    with transaction.atomic(), connection.cursor() as cursor:
        # Saving stops here, in the midst of its transaction.
        cursor.execute("LOCK TABLE surveys_visit IN EXCLUSIVE MODE")
        submit(far_phone)
        await_in(far_phone, somebody_waits, "nothing was saved")
        assert line.sent == 1
        portal.kill()
    expect(far_phone.get_by_text("The portal was not reached yet.")).to_be_visible()
    assert not Visit.objects.of_group(cast.group).exists()
    portal.start()
    notice_network(far_phone)
    await_state(far_phone, number, "sent")
    assert line.sent >= 2
    assert_once(cast.site, number)


def notice_network(phone: Page) -> None:
    """What a browser tells its pages when a network is back; without it the phone would try a little later."""
    phone.evaluate("window.dispatchEvent(new Event('online'))")


def somebody_waits() -> bool:
    with as_owner(), connection.cursor() as cursor:
        cursor.execute(WAITING)
        return bool(cursor.fetchone()[0])


def test_a_portal_killed_after_it_has_saved_knows_the_visit_when_it_is_back(
    cast: Cast, portal: Portal, line: Line, far_phone: Page
) -> None:
    number = new_number()
    open_form(far_phone, cast.site, number)
    fill_in(far_phone)
    line.on_answer = lambda _answer: portal.kill()
    submit(far_phone)
    expect(far_phone.get_by_text("The portal was not reached yet.")).to_be_visible()
    assert kept(far_phone, number)["state"] == "waiting"
    assert_once(cast.site, number)
    portal.start()
    notice_network(far_phone)
    await_state(far_phone, number, "sent")
    # A third try may come of a machine that is busy; the portal knows each.
    assert line.sent >= 2
    assert_once(cast.site, number)


def test_a_browser_killed_in_the_midst_of_a_word_gives_everything_back(
    cast: Cast, live_server: LiveServer, browser: Browser, tmp_path: Path
) -> None:
    number = new_number()
    context = opened(browser.browser_type, live_server.url, tmp_path)
    sign_in(context, cast, live_server.url)
    open_form(context.pages[0], cast.site, number)
    fill_in(context.pages[0], "Typed until the battery was empty")
    await_kept(context.pages[0], number, "Typed until the battery was empty")
    for pid in naming(str(tmp_path / "profile")):
        os.kill(pid, signal.SIGKILL)
    await_true(lambda: not naming(str(tmp_path / "profile")), "the browser survived a kill")
    again = opened(browser.browser_type, live_server.url, tmp_path)
    sign_in(again, cast, live_server.url)
    page = again.pages[0]
    open_form(page, cast.site, number)
    expect(page.get_by_label("Notes")).to_have_value("Typed until the battery was empty")
    submit(page)
    await_state(page, number, "sent")
    again.close()
    assert_once(cast.site, number)


def opened(browser_type: BrowserType, url: str, folder: Path) -> BrowserContext:
    """A browser that keeps its store in a folder, as a phone's does."""
    return browser_type.launch_persistent_context(
        folder / "profile", executable_path=chromium(), args=ARGUMENTS, base_url=url, locale="en-GB"
    )
