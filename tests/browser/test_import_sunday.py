"""A Sunday evening: rows of a group's own making are explained, twelve mended, all of them loaded."""

from __future__ import annotations

import io
import os
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings
from openpyxl import Workbook, load_workbook
from playwright.sync_api import Page

from portal.jobs.models import Job
from portal.jobs.tasks import run_job
from surveys.models import Visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
OF_A_VISIT, BAD, EVERY = 20, 12, 20
TAXA = (
    "Baetidae",
    "Heptageniidae",
    "Ephemerellidae",
    "Caenidae",
    "Leuctridae",
    "Nemouridae",
    "Perlodidae",
    "Hydropsychidae",
    "Limnephilidae",
    "Rhyacophilidae",
    "Elmidae",
    "Dytiscidae",
    "Gammaridae",
    "Asellidae",
    "Chironomidae",
    "Simuliidae",
    "Tipulidae",
    "Oligochaeta",
    "Erpobdellidae",
    "Sphaeriidae",
)
HEADER = ("Station", "Sampled on", "Group found", "Abundance", "Water temp")


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


def years_of_records(path: Path, rows: int) -> None:
    """Visits of 20 taxa each, with a slip in every twentieth visit (of few, in each) until there are twelve."""
    visits = rows // OF_A_VISIT
    every = min(EVERY, visits // BAD)
    book = Workbook(write_only=True)
    sheet = book.create_sheet()
    sheet.append(HEADER)
    for visit in range(visits):
        day = date(2005, 1, 15) + timedelta(days=25 * visit)
        slip = visit % every == 0 and visit // every < BAD
        for place, taxon in enumerate(TAXA):
            count = "a few" if slip and place == 7 else str(1 + (visit + place) % 40)
            sheet.append(
                ("Stepping stones", day.strftime("%d/%m/%Y"), taxon, count, "11,5" if not place else "")
            )
    book.save(path)


def mend(path: Path, to: Path) -> None:
    book = load_workbook(io.BytesIO(path.read_bytes()))
    for line in book.worksheets[0].iter_rows(min_row=2):
        if line[3].value == "a few":
            line[3].value = "3"
    book.save(to)


def do_the_work(cast: Cast) -> None:
    """What a worker does; here its progress is looked at before and after."""
    run_job(str(Job.objects.of_group(cast.group).filter(state="queued").get().pk))


def send(page: Page, path: Path) -> None:
    page.goto("/groups/alder-beck/import/")
    page.set_input_files("input[type=file]", path)
    page.get_by_role("button", name="Check the sheet").click()


def visits(cast: Cast) -> int:
    return Visit.objects.of_group(cast.group).count()


# The suite mends rows in tests/surveys/importing/test_mending.py, and goes the pages in test_import_pages.py.
@pytest.mark.long
@pytest.mark.parametrize("rows", [300, 5_000])
def test_many_rows_with_twelve_bad_ones_are_mended_and_loaded(
    cast: Cast, page_for: PageFor, tmp_path: Path, rows: int
) -> None:
    whole = rows // OF_A_VISIT
    sound = whole - BAD
    old, mended = tmp_path / "our years.xlsx", tmp_path / "mended.xlsx"
    years_of_records(old, rows)
    page = page_for(cast.coordinator)
    page.set_default_timeout(60_000)
    send(page, old)
    _says_what_it_means(page)
    do_the_work(cast)
    _looks_at_the_problems(page)
    with page.expect_download() as fetched:
        page.get_by_role("link", name="Rows to mend (XLSX)").click()
    mend(Path(fetched.value.path()), mended)
    _loads(page, cast, f"Load the {sound} visits without a problem", f"{sound} visits were loaded.")
    assert visits(cast) == sound
    send(page, mended)
    page.get_by_text("being checked in the background").wait_for()
    do_the_work(cast)
    page.get_by_text("240 rows make 12 new visits").wait_for()
    _loads(page, cast, "Load 12 visits", "12 visits were loaded.")
    assert visits(cast) == whole


def _says_what_it_means(page: Page) -> None:
    page.get_by_role("heading", name="What “our years.xlsx” means").wait_for()
    page.get_by_label("Sampled on").select_option("date")
    page.get_by_label("Group found").select_option("taxon")
    look(page, "import_map")
    page.get_by_role("button", name="Check the sheet").click()
    page.get_by_text("being checked in the background").wait_for()
    look(page, "import_checking")


def _looks_at_the_problems(page: Page) -> None:
    page.get_by_text("12 problems stand in the way").wait_for()
    assert page.get_by_text("a few").count() >= 12
    look(page, "import_mend")


def _loads(page: Page, cast: Cast, button: str, words: str) -> None:
    page.get_by_role("button", name=button).click()
    page.get_by_text("It begins in a moment").wait_for()
    look(page, "job_waiting")
    do_the_work(cast)
    # The page asks again by itself.
    page.get_by_text(words).wait_for()
    look(page, "job_done")
    page.get_by_role("link", name="See what came of it").click()
    page.get_by_text("loaded on").first.wait_for()
    look(page, "import_loaded")
