"""An import whose worker is killed in the middle leaves nothing, and is loaded whole by the next one."""

from __future__ import annotations

import io
from datetime import date, timedelta

import pytest
from django.utils import timezone

from portal.jobs.models import Job
from portal.jobs.tasks import resume_jobs
from surveys.models import ImportRun, Visit
from surveys.services.imports import keep_sheet, request_loading
from tests.conftest import Cast
from tests.faults.conftest import StartWorker, kill
from tests.processes import await_true
from tests.surveys.importing.sheets import csv_of

VISITS = 1200
State = Job.State
pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]


def row(job: Job) -> Job:
    return Job.objects.of_group(job.group).get(pk=job.pk)


def visits(job: Job) -> int:
    return Visit.objects.of_group(job.group).count()


def is_loading(job: Job) -> bool:
    now = row(job)
    return now.step == "Loading the visits" and 0 < now.done < VISITS - 150


@pytest.fixture
def order(cast: Cast, empty_queue: None) -> Job:
    """A sheet with enough visits for its loading to take some seconds."""
    days = [date(2010, 1, 1) + timedelta(days=4 * number) for number in range(VISITS)]
    content = csv_of([{"date": day.isoformat()} for day in days])
    person = cast.person("coordinator")
    run = keep_sheet(person=person, group=cast.group, file=io.BytesIO(content), file_name="old.csv")
    return request_loading(person=person, run=run)


def test_a_killed_workers_import_leaves_nothing_and_is_loaded_by_the_next(
    order: Job, start_worker: StartWorker
) -> None:
    worker = start_worker()
    await_true(lambda: is_loading(order), "The loading did not begin.")
    kill(worker)
    assert row(order).state == State.RUNNING, "the worker was killed too late for this test"
    assert visits(order) == 0

    # What five minutes do.
    Job.objects.of_group(order.group).update(claimed_until=timezone.now() - timedelta(seconds=1))
    start_worker()
    resume_jobs.delay()
    await_true(lambda: row(order).state == State.DONE, "The sweep did not take it up.")
    assert (visits(order), row(order).attempts) == (VISITS, 2)
    assert ImportRun.objects.of_group(order.group).get().visits_loaded == VISITS
