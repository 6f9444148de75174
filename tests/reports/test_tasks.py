"""The report's Celery tasks."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.conf import settings
from django.utils import timezone

from portal.celery import app
from portal.reports.models import YearlyReport
from portal.reports.queries import stalled_reports
from portal.reports.services import request_report
from portal.reports.services.claims import claim_report
from portal.reports.tasks import make_yearly_report, resume_reports
from tests.reports.conftest import YEAR, YearBook

State = YearlyReport.State


@pytest.fixture
def report(book: YearBook) -> YearlyReport:
    book.visit(date(YEAR, 3, 10))
    return request_report(person=book.cast.person("coordinator"), group=book.group, year=YEAR)


def change(report: YearlyReport, **fields: object) -> None:
    YearlyReport.objects.of_group(report.group).filter(pk=report.pk).update(**fields)


def test_the_task_makes_the_report(report: YearlyReport) -> None:
    make_yearly_report(str(report.pk))
    report.refresh_from_db()
    assert report.state == State.READY


def test_the_task_does_nothing_to_a_report_that_is_made(report: YearlyReport) -> None:
    make_yearly_report(str(report.pk))
    report.refresh_from_db()
    name = report.file.name
    make_yearly_report(str(report.pk))
    report.refresh_from_db()
    assert report.file.name == name


def test_the_sweep_takes_up_a_report_whose_nudge_was_missed(report: YearlyReport) -> None:
    change(report, created_at=timezone.now() - timedelta(seconds=10))
    resume_reports()
    report.refresh_from_db()
    assert report.state == State.READY


def test_the_sweep_takes_up_a_dead_workers_report(report: YearlyReport) -> None:
    assert claim_report(report.pk)
    change(report, claimed_until=timezone.now() - timedelta(seconds=1))
    resume_reports()
    report.refresh_from_db()
    assert report.state == State.READY


def test_the_sweep_leaves_fresh_and_running_reports_alone(report: YearlyReport) -> None:
    assert stalled_reports(timezone.now()) == []
    change(report, created_at=timezone.now() - timedelta(hours=1))
    assert claim_report(report.pk)
    assert stalled_reports(timezone.now()) == []


def test_both_tasks_are_known_to_the_worker_and_the_sweep_is_on_the_clock() -> None:
    app.loader.import_default_modules()
    assert "portal.reports.tasks.make_yearly_report" in app.tasks
    scheduled = {each["task"] for each in settings.CELERY_BEAT_SCHEDULE.values()}
    assert "portal.reports.tasks.resume_reports" in scheduled
