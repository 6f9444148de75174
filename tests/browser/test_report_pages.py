"""The yearly report in a real browser: ordered, watched, read, published."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from portal.accounts.access import Person
from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.reports.models import YearlyReport
from portal.reports.services import make_report, publish_report, request_report
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import VisitFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
YEAR = 2025


@pytest.fixture(autouse=True)
def _a_year_on_record(cast: Cast, settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path
    VisitFactory(site=cast.site, visited_on=date(YEAR, 3, 10), status="approved", reviewed_by=cast.coordinator)


def draft_of(cast: Cast) -> tuple[Person, YearlyReport]:
    person = cast.person("coordinator")
    report = request_report(person=person, group=cast.group, year=YEAR)
    make_report(report.pk)
    report.refresh_from_db()
    return person, report


def test_a_coordinator_orders_watches_and_publishes_a_report(cast: Cast, page_for: PageFor) -> None:
    page = page_for(cast.coordinator)
    page.goto(reverse("report_list", args=[cast.group.slug]))
    assert_accessible(page)
    page.get_by_label("Foreword").fill("A dry spring and a wet autumn.")
    page.get_by_role("button", name="Make the report").click()
    report = YearlyReport.objects.of_group(cast.group).get()
    assert_accessible(page)
    page.reload()
    expect(page.get_by_role("progressbar")).to_be_visible()
    make_report(report.pk)
    # Nobody reloads here: the page notices by itself.
    expect(page.get_by_role("link", name="Read the draft (PDF)")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("button", name="Publish the report").click()
    expect(page.get_by_role("button", name="Stop it")).to_be_visible()
    work_off(Job.objects.of_group(cast.group).get(kind="report_publishing").pk)
    expect(page.get_by_text("The report is published.")).to_be_visible()
    assert_accessible(page)
    page.get_by_role("link", name="See what came of it").click()
    page.get_by_role("link", name="All reports").click()
    expect(page.get_by_role("link", name=f"Report on {YEAR}")).to_be_visible()
    assert_accessible(page)


def test_it_works_without_scripts(cast: Cast, page_for: PageFor) -> None:
    report = request_report(person=cast.person("coordinator"), group=cast.group, year=YEAR)
    page = page_for(cast.coordinator, java_script_enabled=False)
    page.goto(reverse("report_detail", args=[cast.group.slug, report.pk]))
    make_report(report.pk)
    page.get_by_role("link", name="Look again").click()
    expect(page.get_by_role("link", name="Read the draft (PDF)")).to_be_visible()


def test_a_failed_report_is_accessible_too(cast: Cast, page_for: PageFor) -> None:
    _person, report = draft_of(cast)
    YearlyReport.objects.of_group(cast.group).update(state="failed", problem="The disk is full.")
    page = page_for(cast.coordinator)
    page.goto(reverse("report_detail", args=[cast.group.slug, report.pk]))
    assert_accessible(page)


def test_everybody_can_read_a_published_report(cast: Cast, page_for: PageFor) -> None:
    person, report = draft_of(cast)
    publish_report(person=person, report=report)
    page = page_for()
    page.goto(reverse("public_report", args=[report.pk]))
    expect(page.get_by_role("heading", name=f"The rivers in {YEAR}")).to_be_visible()
    assert_accessible(page)
    with page.expect_download() as download:
        page.evaluate("document.querySelector('a.button').setAttribute('download', '')")
        page.get_by_role("link", name="Read the whole report (PDF)").click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")
