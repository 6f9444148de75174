"""Loading past visits through the pages: one coordinator loads, another approves."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from django.conf import LazySettings
from playwright.sync_api import Page

from portal.jobs.models import Job
from portal.jobs.tasks import run_job
from surveys.models import Visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.surveys.importing.sheets import csv_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"


def look(page: Page, name: str) -> None:
    """Hold the page to axe, and keep a picture where SCREENSHOTS names a folder."""
    assert_accessible(page)
    folder = os.environ.get("SCREENSHOTS")
    for width in (360, 1280) if folder else ():
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=f"{folder}/{name}-{width}.png", full_page=True)


def send(page: Page, path: Path) -> None:
    page.set_input_files("input[type=file]", path)
    page.get_by_role("button", name="Check the sheet").click()


def check(page: Page, cast: Cast) -> None:
    """The page waits, a worker does the check, the page shows it by itself."""
    page.get_by_text("being checked in the background").wait_for()
    resume_all(cast)
    page.get_by_text("Checked on").wait_for()


def test_it_loads_a_sheet_and_has_it_approved_by_somebody_else(
    cast: Cast, page_for: PageFor, tmp_path: Path
) -> None:
    bad, good = tmp_path / "with mistakes.csv", tmp_path / "old visits.csv"
    bad.write_bytes(csv_of([{"site": "ZZ9"}, {"taxon": "Beatidae"}, {"count": "1-Sep", "taxon": "Elmidae"}]))
    good.write_bytes(csv_of([{"ph": "9.5"}, {"date": "2024-06-03", "taxon": "Elmidae"}]))
    page = page_for(cast.coordinator)
    page.goto("/groups/alder-beck/import/")
    look(page, "import_visits")
    _sees_that_a_file_is_missing(page)
    _sees_the_problems(page, cast, bad)
    _loads(page, cast, good)
    _approves(page_for(cast.second_coordinator), page.url)
    assert {visit.status for visit in Visit.objects.of_group(cast.group)} == {"approved"}


def _sees_that_a_file_is_missing(page: Page) -> None:
    page.get_by_role("button", name="Check the sheet").click()
    assert page.get_by_text("Choose a file first.").count()
    look(page, "import_visits_empty")


def _sees_the_problems(page: Page, cast: Cast, path: Path) -> None:
    send(page, path)
    look(page, "import_checking")
    check(page, cast)
    page.get_by_role("heading", name="Check of with mistakes.csv").wait_for()
    assert page.get_by_role("row").count() == 4
    assert "Baetidae" in page.get_by_role("row").nth(2).inner_text()
    look(page, "import_problems")
    page.get_by_role("link", name="Choose another sheet").click()


def resume_all(cast: Cast) -> None:
    """What a worker does."""
    for job in Job.objects.of_group(cast.group).filter(state="queued"):
        run_job(str(job.pk))


def _loads(page: Page, cast: Cast, path: Path) -> None:
    send(page, path)
    check(page, cast)
    page.get_by_role("heading", name="Check of old visits.csv").wait_for()
    look(page, "import_checked")
    page.get_by_role("button", name="Load 2 visits").click()
    page.get_by_role("button", name="Stop it").wait_for()
    resume_all(cast)
    page.get_by_text("2 visits were loaded").wait_for()
    page.get_by_role("link", name="See what came of it").click()
    assert page.get_by_text("another coordinator approves them").count()
    look(page, "import_loaded")


def _approves(page: Page, address: str) -> None:
    page.goto(address)
    page.get_by_role("button", name="Approve 2 visits").click()
    page.get_by_text("one reason").first.wait_for()
    look(page, "import_approve")
    page.get_by_label("right as recorded").fill("limestone spring")
    page.get_by_role("button", name="Approve 2 visits").click()
    page.get_by_text("2 visits were approved.").wait_for()
    look(page, "import_approved")
