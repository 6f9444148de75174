"""Loading as long work: all of the sheet and the end of the job in one transaction, or neither."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.utils import timezone

from portal.accounts.models import Membership
from portal.jobs import working
from portal.jobs.models import Job
from portal.jobs.services import end_job
from portal.jobs.tasks import resume_jobs, run_job
from surveys.importing import holds
from surveys.models import ImportRun, Visit
from surveys.services import imports
from surveys.services.visits import submit_visits
from tests.conftest import Cast
from tests.surveys.importing.sheets import csv_of

pytestmark = pytest.mark.django_db(transaction=True)
State = Job.State


@pytest.fixture(autouse=True)
def _at_once(settings: LazySettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.MEDIA_ROOT = tmp_path
    monkeypatch.setattr(working, "PAUSE", 0.0)


@pytest.fixture
def job(cast: Cast) -> Job:
    run = imports.keep_sheet(
        person=cast.person("coordinator"),
        group=cast.group,
        file=io.BytesIO(csv_of([{}, {"date": "2024-06-03"}, {"date": "2024-07-03"}])),
        file_name="old.csv",
    )
    return imports.request_loading(person=cast.person("coordinator"), run=run)


def again(job: Job) -> Job:
    return Job.objects.of_group(job.group).get(pk=job.pk)


def visits(cast: Cast) -> int:
    return Visit.objects.of_group(cast.group).count()


def during(monkeypatch: pytest.MonkeyPatch, act: Callable[[], Any]) -> None:
    """Have something happen after the first visit is in the transaction."""
    real = submit_visits

    def submit(*values: Any) -> Any:
        receipts = real(*values)
        working.apart(act)
        return receipts

    monkeypatch.setattr("surveys.services.imports.loading.AT_ONCE", 1)
    monkeypatch.setattr("surveys.services.imports.loading.submit_visits", submit)


def test_progress_is_seen_while_no_visit_is(cast: Cast, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[int, str, int]] = []
    during(monkeypatch, lambda: seen.append((again(job).done, again(job).step, visits(cast))))
    run_job(str(job.pk))
    assert seen == [(0, "Loading the visits", 0), (1, "Loading the visits", 0), (2, "Loading the visits", 0)]
    assert (visits(cast), again(job).state, again(job).summary) == (3, State.DONE, "3 visits were loaded.")


def test_a_stop_leaves_nothing(cast: Cast, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    during(monkeypatch, lambda: end_job(job) and None)
    run_job(str(job.pk))
    assert (visits(cast), again(job).state) == (0, State.STOPPED)
    run = ImportRun.objects.of_group(cast.group).get()
    assert run.loaded_at is None
    assert run.file
    # Ordered anew, it is loaded as if nothing had been.
    monkeypatch.undo()
    monkeypatch.setattr(working, "PAUSE", 1e9)
    fresh = imports.request_loading(person=cast.person("coordinator"), run=run)
    assert fresh.pk != job.pk


def test_an_error_leaves_nothing(cast: Cast, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise RuntimeError("the power went")

    during(monkeypatch, fail)
    run_job(str(job.pk))
    assert (visits(cast), again(job).state) == (0, State.FAILED)


def test_one_sheet_is_one_job(cast: Cast, job: Job) -> None:
    run = ImportRun.objects.of_group(cast.group).get()
    assert imports.request_loading(person=cast.person("second_coordinator"), run=run).pk == job.pk


def test_a_job_done_twice_loads_nothing_more(cast: Cast, job: Job) -> None:
    run_job(str(job.pk))
    past = timezone.now() - timedelta(seconds=1)
    Job.objects.of_group(cast.group).update(state=State.RUNNING, claimed_until=past)
    resume_jobs()
    assert (visits(cast), again(job).state) == (3, State.DONE)


def test_whoever_lost_the_right_loads_nothing(cast: Cast, job: Job) -> None:
    Membership.objects.of_group(cast.group).filter(user=cast.coordinator).update(role="volunteer")
    run_job(str(job.pk))
    assert (visits(cast), again(job).state) == (0, State.FAILED)


def test_a_sheet_that_is_gone_is_said(cast: Cast, job: Job) -> None:
    ImportRun.objects.of_group(cast.group).all().delete()
    run_job(str(job.pk))
    assert "Send it again" in again(job).problem


def test_the_kinds_of_holds_are_registered() -> None:
    names = {hold.__name__ for hold in holds._holds}
    assert {"approved_visits", "visits_of_incidents", "visits_of_reports"} <= names
