"""A phone of a volunteer on the bank."""

from __future__ import annotations

import pytest
from django.conf import LazySettings
from playwright.sync_api import Page, expect

from tests.browser.bank.steps import HOME, PHONE
from tests.browser.checks import PageFor
from tests.conftest import Cast


@pytest.fixture(autouse=True)
def _own_pictures(settings: LazySettings, tmp_path: object) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def phone(cast: Cast, page_for: PageFor) -> Page:
    """The volunteer's phone, signed in."""
    return page_for(cast.volunteer, width=PHONE)


@pytest.fixture
def ready_phone(cast: Cast, page_for: PageFor) -> Page:
    """The same with a worker that keeps the pages, opened once where there is a network."""
    page = page_for(cast.volunteer, width=PHONE, service_workers="allow")
    page.goto(HOME)
    expect(page.get_by_text("Ready for the bank")).to_be_visible()
    return page
