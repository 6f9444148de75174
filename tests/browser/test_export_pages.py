"""Taking records out through the pages: choose, get the file, set terms, get the archive."""

from __future__ import annotations

import csv
import os
import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from surveys.services.review import approve_visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import days_ago, submit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def look(page: Page, name: str) -> None:
    """Hold the page to axe, and keep a picture where SCREENSHOTS names a folder."""
    assert_accessible(page)
    folder = os.environ.get("SCREENSHOTS")
    for width in (360, 1280) if folder else ():
        page.set_viewport_size({"width": width, "height": 900})
        page.screenshot(path=f"{folder}/{name}-{width}.png", full_page=True)


def fetched(page: Page, button: str, folder: Path) -> Path:
    with page.expect_download() as waiting:
        page.get_by_role("button", name=button).click()
    place = folder / waiting.value.suggested_filename
    waiting.value.save_as(place)
    return place


def test_a_coordinator_takes_a_choice_of_visits_and_an_archive(
    cast: Cast, page_for: PageFor, tmp_path: Path
) -> None:
    for day in (3, 40):
        visit = submit(
            cast.person("volunteer"), cast.site, visited_on=days_ago(day).isoformat(), notes=f"day {day}"
        )
        approve_visit(
            person=cast.person("second_coordinator"), visit=visit, accept_findings_reason="Looked at."
        )
    page = page_for(cast.coordinator)
    page.goto("/groups/alder-beck/visits/")
    look(page, "visit_list")
    page.get_by_text("More choices").click()
    page.get_by_label("Words").fill("day 40")
    page.get_by_role("button", name="Show", exact=True).click()
    look(page, "visit_list_chosen")
    page.get_by_role("link", name="Take this 1 visit out as a file").click()
    look(page, "export_make")
    page.get_by_label("Taxon counts").check()
    page.get_by_label("CSV").check()
    with fetched(page, "Get the file", tmp_path).open(newline="", encoding="utf-8-sig") as file:
        assert {line["notes"] for line in csv.DictReader(file)} == {"day 40"}
    _sets_terms(page)
    archive = zipfile.ZipFile(fetched(page, "Get the archive of 2 visits", tmp_path))
    assert archive.read("event.txt").count(b"\n") == 3


def _sets_terms(page: Page) -> None:
    page.get_by_role("link", name="Choose the licence").click()
    page.get_by_label("CC BY 4.0").check()
    page.get_by_label("public e-mail").fill("records@example.org")
    look(page, "publishing_terms")
    page.get_by_role("button", name="Keep").click()
    expect(page.get_by_text("The terms are kept.")).to_be_visible()
    look(page, "export_make_archive")
