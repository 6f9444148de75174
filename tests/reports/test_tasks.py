"""The report's jobs as the worker does them."""

from __future__ import annotations

from datetime import date, timedelta
from importlib import import_module

import pytest
from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.utils import timezone

from portal.celery import app
from portal.jobs.models import Job
from portal.jobs.tasks import resume_jobs, run_job
from portal.reports.models import YearlyReport
from portal.reports.services import request_report
from tests.reports.conftest import YEAR, YearBook

State = YearlyReport.State


@pytest.fixture
def report(book: YearBook) -> YearlyReport:
    book.visit(date(YEAR, 3, 10))
    return request_report(person=book.cast.person("coordinator"), group=book.group, year=YEAR)


def change(report: YearlyReport, **fields: object) -> None:
    Job.objects.of_group(report.group).filter(pk=report.job_id or "").update(**fields)


def test_the_task_makes_the_report(report: YearlyReport) -> None:
    run_job(str(report.job_id))
    report.refresh_from_db()
    assert report.state == State.READY


def test_the_task_does_nothing_to_a_report_that_is_made(report: YearlyReport) -> None:
    run_job(str(report.job_id))
    report.refresh_from_db()
    name = report.file.name
    run_job(str(report.job_id))
    report.refresh_from_db()
    assert report.file.name == name


def test_the_sweep_takes_up_a_report_whose_nudge_was_missed(report: YearlyReport) -> None:
    change(report, created_at=timezone.now() - timedelta(seconds=10))
    resume_jobs()
    report.refresh_from_db()
    assert report.state == State.READY


def test_the_sweep_takes_up_a_dead_workers_report(report: YearlyReport) -> None:
    change(report, state="running", attempts=1, claimed_until=timezone.now() - timedelta(seconds=1))
    resume_jobs()
    report.refresh_from_db()
    assert report.state == State.READY


def test_both_tasks_are_known_to_the_worker_and_the_sweep_is_on_the_clock() -> None:
    app.loader.import_default_modules()
    assert "portal.jobs.tasks.run_job" in app.tasks
    scheduled = {each["task"] for each in settings.CELERY_BEAT_SCHEDULE.values()}
    assert "portal.jobs.tasks.resume_jobs" in scheduled


def test_a_report_under_way_when_jobs_came_gets_one(report: YearlyReport) -> None:
    YearlyReport.objects.of_group(report.group).update(job=None, state=State.RUNNING)
    then = MigrationLoader(connection).project_state(("reports", "0003_reports_as_jobs")).apps
    import_module("portal.reports.migrations.0004_jobs_for_reports_under_way").add_jobs(then, None)
    report.refresh_from_db()
    assert report.state == State.QUEUED
    run_job(str(report.job_id))
    report.refresh_from_db()
    assert report.state == State.READY
