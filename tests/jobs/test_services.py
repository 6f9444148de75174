"""Ordering long work, stopping it, and files that are kept for a while."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError
from django.http import Http404
from django.utils import timezone
from kombu.exceptions import OperationalError
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.jobs import services
from portal.jobs.kinds import Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import jobs_of, live_job, starter_of
from portal.jobs.services import JobOver, remove_old_files, request_job, stop_job
from portal.jobs.working import work_off
from tests.conftest import Cast
from tests.jobs.conftest import Register, again

pytestmark = pytest.mark.django_db
State = Job.State


def order(cast: Cast, who: str = "volunteer", key: str = "") -> Job:
    person = cast.person(who) if who else None
    return request_job(person=person, group=cast.group, kind="test", parameters={}, label="Work", key=key)


class TestOrdering:
    def test_one_key_is_one_job_while_it_is_under_way(self, job: Job, cast: Cast) -> None:
        assert order(cast, key="test") == job
        assert live_job(cast.group, "test") == job
        services.end_job(job)
        assert order(cast, key="test") != job

    def test_without_a_key_there_may_be_many(self, cast: Cast) -> None:
        assert order(cast) != order(cast)

    def test_the_database_holds_to_it(self, job: Job) -> None:
        with pytest.raises(IntegrityError):
            Job.objects.create(group=job.group, kind="test", key="test", label="x")

    def test_the_broker_is_told_after_the_commit(
        self,
        cast: Cast,
        monkeypatch: pytest.MonkeyPatch,
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
    ) -> None:
        told: list[Any] = []
        arrived = threading.Event()

        def send(task: str, args: list[str]) -> None:
            told.append((task, *args))
            arrived.set()

        monkeypatch.setattr("portal.jobs.services.current_app.send_task", send)
        with django_capture_on_commit_callbacks(execute=True):
            ordered = order(cast)
            assert told == []
        assert arrived.wait(5)
        assert told == [("portal.jobs.tasks.run_job", str(ordered.pk))]

    def test_a_dead_broker_is_no_error(self, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
        def send(task: str, args: list[str]) -> None:
            raise OperationalError("no broker")

        monkeypatch.setattr("portal.jobs.services.current_app.send_task", send)
        services._tell_workers(job.pk)


class TestWhoSees:
    def test_starter_and_coordinators(self, cast: Cast) -> None:
        own = order(cast)
        assert list(jobs_of(cast.group, cast.person("volunteer"))) == [own]
        assert list(jobs_of(cast.group, cast.person("coordinator"))) == [own]
        assert list(jobs_of(cast.group, cast.person("other_volunteer"))) == []

    def test_the_starter_is_read_anew(self, cast: Cast) -> None:
        found = starter_of(order(cast))
        assert found is not None
        assert found.user_id == cast.volunteer.pk
        assert starter_of(order(cast, "")) is None


class TestStopping:
    @pytest.mark.parametrize("who", ["volunteer", "coordinator"])
    def test_starter_and_coordinator_may(self, cast: Cast, who: str) -> None:
        own = order(cast)
        stop_job(person=cast.person(who), job=own)
        assert again(own).state == State.STOPPED
        assert again(own).ended_at is not None

    def test_others_may_not(self, cast: Cast) -> None:
        own = order(cast)
        with pytest.raises(PermissionDenied):
            stop_job(person=cast.person("other_volunteer"), job=own)
        with pytest.raises(Http404):
            stop_job(person=cast.person("neighbour_coordinator"), job=own)
        assert again(own).state == State.QUEUED

    def test_its_kind_hears_of_it(self, job: Job, register: Register, cast: Cast) -> None:
        heard: list[Job] = []
        register(lambda _job, _progress: None)
        job_kind("test", label="Test", on_broken=heard.append)(lambda _job, _progress: None)
        stop_job(person=cast.person("coordinator"), job=job)
        assert heard == [job]

    def test_what_is_over_is_over(self, cast: Cast) -> None:
        own = order(cast)
        stop_job(person=cast.person("volunteer"), job=own)
        with pytest.raises(JobOver):
            stop_job(person=cast.person("volunteer"), job=own)


class TestFiles:
    def test_they_go_after_a_week(self, job: Job, register: Register) -> None:
        register(lambda _job, _progress: Outcome(content=b"x", file_name="x.csv"))
        work_off(job.pk)
        storage, name = again(job).file.storage, str(again(job).file.name)
        assert remove_old_files() == 0
        assert storage.exists(name)
        assert remove_old_files(timezone.now() + timedelta(days=8)) == 1
        assert not storage.exists(name)
        assert not again(job).file
