"""A report whose worker is killed in the middle is made all the same, by the next one."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from portal.jobs.models import Job
from portal.jobs.tasks import resume_jobs
from portal.reports.models import YearlyReport
from portal.reports.services import request_report
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory
from tests.faults.conftest import StartWorker, kill
from tests.processes import await_true

YEAR = 2025
State = YearlyReport.State
pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]


def row(report: YearlyReport) -> YearlyReport:
    return YearlyReport.objects.of_group(report.group).get(pk=report.pk)


def job(report: YearlyReport) -> Job:
    return Job.objects.of_group(report.group).get(pk=report.job_id or "")


def is_ready(report: YearlyReport) -> bool:
    return row(report).state == State.READY


@pytest.fixture
def order(cast: Cast, empty_queue: None) -> YearlyReport:
    """A group with enough sites for the work to take a while."""
    for number in range(12):
        site = SiteFactory(group=cast.group, code=f"K{number}", opened_on=date(YEAR, 1, 1))
        VisitFactory(site=site, visited_on=date(YEAR, 3, 10), status="approved", reviewed_by=cast.coordinator)
    return request_report(person=cast.person("coordinator"), group=cast.group, year=YEAR)


def test_a_worker_makes_it_by_the_nudge_alone(order: YearlyReport, start_worker: StartWorker) -> None:
    start_worker()
    await_true(lambda: is_ready(order), "No worker made the report.")
    assert Path(row(order).file.path).read_bytes().startswith(b"%PDF-")


# The suite kills a worker in the middle of a job in test_import.py.
@pytest.mark.long
def test_a_killed_workers_report_is_made_by_the_next(order: YearlyReport, start_worker: StartWorker) -> None:
    worker = start_worker()
    await_true(lambda: 5 <= job(order).done < 100, "The work did not begin.")
    kill(worker)
    left = job(order)
    assert left.state == Job.State.RUNNING, "the worker was killed too late for this test"
    assert left.claimed_until is not None

    # What five minutes do.
    Job.objects.of_group(order.group).update(claimed_until=timezone.now() - timedelta(seconds=1))
    start_worker()
    resume_jobs.delay()
    await_true(lambda: is_ready(order), "The sweep did not take it up.")
    assert job(order).attempts == 2
