"""Steps of a volunteer with a phone, and what then stands on the phone and on the portal."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.urls import reverse
from playwright.sync_api import Page, expect

from surveys.models import Site, Visit
from tests.factories import days_ago
from tests.processes import await_true

PHONE = 360
HOME = "/bank/"


def new_number() -> str:
    """The number of a visit, as the phone makes it."""
    return str(uuid.uuid4())


def form_address(site: Site, number: str) -> str:
    """Where the visit of that number is typed."""
    return reverse("bank_visit", kwargs={"slug": site.group.slug, "site_id": site.pk}) + f"#{number}"


def open_form(page: Page, site: Site, number: str) -> None:
    """Open the form of the bank and wait until it may be typed into."""
    page.goto(form_address(site, number))
    expect(page.get_by_text("On this phone only.").first).to_be_visible()


def fill_in(page: Page, note: str = "") -> None:
    """An ordinary visit, as a volunteer types it."""
    page.get_by_label("Date of the visit").fill(days_ago(1).isoformat())
    page.get_by_label("Or the partner's name").fill("Sam Example")
    for spot in (1, 2, 3):
        page.locator(f"[name=spots-{spot}-flow_type]").select_option("riffle")
        page.locator(f"[name=spots-{spot}-seconds]").fill("30")
    page.locator("[name=counts-Baetidae-count]").fill("12")
    page.locator("[name=counts-Heptageniidae-range]").select_option("10-99")
    if note:
        page.get_by_label("Notes").fill(note)


def submit(page: Page) -> None:
    """Press the button."""
    page.get_by_role("button", name="Submit the visit").click()


def kept(page: Page, number: str) -> Any:
    """What the phone keeps of a visit, or None."""
    return page.evaluate("number => phoneStore.visit(number)", number)


def await_kept(page: Page, number: str, note: str) -> None:
    """Wait until the phone keeps the visit with this note."""

    def is_kept() -> bool:
        record = kept(page, number)
        return bool(record) and ["notes", note] in record["entries"]

    await_true(is_kept, "the phone did not keep what was typed")


def await_state(page: Page, number: str, state: str) -> None:
    """Wait until the phone's own record of the visit is in this state."""
    await_true(lambda: (kept(page, number) or {}).get("state") == state, f"never {state}: {kept(page, number)}")


def await_in(page: Page, happened: Callable[[], bool], otherwise: str) -> None:
    """Wait until it happened, and let the browser's own events come through meanwhile."""

    def passed() -> bool:
        page.wait_for_timeout(20)
        return happened()

    await_true(passed, otherwise)


def assert_once(site: Site, *numbers: str) -> None:
    """Exactly these visits stand on the portal, each once, whole."""
    found = Visit.objects.of_group(site.group).filter(site=site)
    assert sorted(str(visit.pk) for visit in found) == sorted(numbers)
    assert all(visit.counts.count() == 2 for visit in found)
