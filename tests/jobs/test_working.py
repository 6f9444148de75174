"""Doing long work: claimed once, told step by step, stopped, taken up again, never half done."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import OperationalError, transaction
from django.utils import timezone

from portal.accounts.models import Group
from portal.audit.services import history_of
from portal.jobs import working
from portal.jobs.kinds import JobProblem, Outcome, Stopped, job_kind, kind_of
from portal.jobs.models import Job
from portal.jobs.services import end_job, stalled_jobs
from portal.jobs.tasks import resume_jobs, run_job
from portal.jobs.working import MOST_ATTEMPTS, Progress, work_off
from tests.conftest import Cast
from tests.jobs.conftest import Register, again

pytestmark = pytest.mark.django_db
State = Job.State


def outdate(job: Job) -> None:
    """What five minutes without a sign of life do."""
    past = timezone.now() - timedelta(seconds=1)
    Job.objects.of_group(job.group).filter(pk=job.pk).update(state=State.RUNNING, claimed_until=past)


def stop(job: Job) -> None:
    """What the button does."""
    end_job(again(job))


def verbs(job: Job) -> list[str]:
    return [each.verb for each in history_of(job, job.group)]


class TestDone:
    def test_it_keeps_what_came_of_it(self, job: Job, register: Register) -> None:
        register(
            lambda _job, _progress: Outcome(summary="3 rows.", link="/here/", content=b"a,b", file_name="x.csv")
        )
        run_job(str(job.pk))
        done = again(job)
        assert (done.state, done.summary, done.link, done.file_name) == (
            State.DONE,
            "3 rows.",
            "/here/",
            "x.csv",
        )
        with done.file.open() as file:
            assert file.read() == b"a,b"
        assert done.ended_at is not None
        assert done.claimed_until is None
        assert verbs(job) == ["job.requested", "job.done"]

    def test_it_hands_over_what_was_ordered(self, job: Job, register: Register) -> None:
        seen: list[object] = []
        register(lambda given, _progress: seen.append(given.parameters))
        work_off(job.pk)
        assert seen == [{"rows": 3}]

    def test_it_is_done_once(self, job: Job, register: Register) -> None:
        times: list[int] = []
        register(lambda _job, _progress: times.append(1))
        work_off(job.pk)
        work_off(job.pk)
        assert times == [1]

    def test_nothing_is_done_while_somebody_is_at_it(self, job: Job, register: Register) -> None:
        def handler(given: Job, progress: Progress) -> None:
            progress(1, 2)
            work_off(given.pk)
            assert again(given).attempts == 1

        register(handler)
        work_off(job.pk)
        assert again(job).state == State.DONE

    def test_a_number_of_nothing_is_no_error(self) -> None:
        work_off(uuid4())


class TestProgress:
    def test_it_is_saved_as_it_comes(self, job: Job, register: Register) -> None:
        seen: list[tuple[int, int, str]] = []

        def handler(given: Job, progress: Progress) -> None:
            progress(1, 3, "Reading")
            progress(2)
            now = again(given)
            seen.append((now.done, now.total, now.step))

        register(handler)
        work_off(job.pk)
        assert seen == [(2, 3, "Reading")]
        assert (again(job).done, again(job).total) == (3, 3)

    def test_it_renews_the_claim(self, job: Job, register: Register) -> None:
        def handler(given: Job, progress: Progress) -> None:
            outdate(given)
            progress(1)
            assert stalled_jobs() == []

        register(handler)
        work_off(job.pk)
        assert again(job).state == State.DONE

    def test_a_stopped_job_goes_no_further_and_its_batch_is_taken_back(
        self, job: Job, register: Register, cast: Cast
    ) -> None:
        def handler(given: Job, progress: Progress) -> None:
            end_job(given)
            with transaction.atomic():
                Group.objects.filter(pk=given.group_id).update(name="Half done")
                progress(1)
            raise AssertionError("it went on")

        register(handler)
        work_off(job.pk)
        assert again(job).state == State.STOPPED
        assert Group.objects.get(pk=cast.group.pk).name == "Alder Beck Watch"

    def test_a_job_that_was_taken_over_is_left_to_the_next_worker(self, job: Job, register: Register) -> None:
        def handler(given: Job, progress: Progress) -> None:
            Job.objects.of_group(given.group).filter(pk=given.pk).update(attempts=2)
            with pytest.raises(Stopped):
                progress(1)
            raise ValueError("what a lost worker says counts for nothing")

        register(handler)
        work_off(job.pk)
        assert again(job).state == State.RUNNING

    def test_it_ends_an_attempt_that_takes_too_long(self, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
        progress = Progress(job, timedelta(minutes=2))
        late = progress._begun + 121
        monkeypatch.setattr("portal.jobs.working.time.monotonic", lambda: late)
        with pytest.raises(JobProblem, match="2 minutes"):
            progress(1)

    def test_what_is_finished_in_a_transaction_stays_finished(self, job: Job, register: Register) -> None:
        register(lambda _job, progress: progress.finish(Outcome(summary="All of it.")))
        work_off(job.pk)
        assert again(job).summary == "All of it."
        assert verbs(job).count("job.done") == 1

    def test_nobody_finishes_what_was_stopped(self, job: Job, register: Register) -> None:
        def handler(given: Job, _progress: Progress) -> Outcome:
            end_job(given)
            return Outcome(summary="done")

        register(handler)
        work_off(job.pk)
        assert (again(job).state, again(job).summary) == (State.STOPPED, "")


class TestFailing:
    def test_a_problem_is_told_in_its_own_words(self, job: Job, register: Register) -> None:
        def handler(_job: Job, _progress: Progress) -> None:
            raise JobProblem("Row 3 has no date.")

        register(handler)
        work_off(job.pk)
        assert (again(job).state, again(job).problem) == (State.FAILED, "Row 3 has no date.")
        assert verbs(job)[-1] == "job.failed"

    def test_an_error_is_not_shown(self, job: Job, register: Register) -> None:
        def handler(_job: Job, _progress: Progress) -> None:
            raise ZeroDivisionError("secret")

        register(handler)
        work_off(job.pk)
        assert "Something went wrong" in again(job).problem
        assert "secret" not in again(job).problem

    def test_a_lost_database_leaves_it_to_the_sweep(self, job: Job, register: Register) -> None:
        def handler(_job: Job, _progress: Progress) -> None:
            raise OperationalError("gone")

        register(handler)
        work_off(job.pk)
        assert again(job).state == State.RUNNING

    def test_an_unknown_kind_is_said(self, job: Job) -> None:
        assert kind_of(job.kind) is None
        work_off(job.pk)
        assert "does not know how" in again(job).problem

    def test_its_kind_hears_of_it(self, job: Job, register: Register) -> None:
        heard: list[Job] = []
        register(lambda _job, _progress: None)

        @job_kind("test", label="Test", on_broken=heard.append)
        def handler(_job: Job, _progress: Progress) -> None:
            raise JobProblem("no")

        work_off(job.pk)
        assert [each.problem for each in heard] == ["no"]


class TestTakenUp:
    def test_a_dead_workers_job_is_done_by_the_sweep(self, job: Job, register: Register) -> None:
        register(lambda _job, _progress: None)
        outdate(job)
        assert stalled_jobs() == [job.pk]
        resume_jobs()
        assert again(job).state == State.DONE

    def test_a_missed_nudge_is_made_good(self, job: Job, register: Register) -> None:
        register(lambda _job, _progress: None)
        assert stalled_jobs() == [], "the nudge has a moment"
        Job.objects.of_group(job.group).update(created_at=timezone.now() - timedelta(seconds=6))
        assert stalled_jobs() == [job.pk]

    def test_it_is_given_up_after_some_attempts(self, job: Job, register: Register) -> None:
        register(lambda _job, _progress: pytest.fail("begun once too often"))
        outdate(job)
        Job.objects.of_group(job.group).update(attempts=MOST_ATTEMPTS)
        resume_jobs()
        assert again(job).state == State.FAILED
        assert f"{MOST_ATTEMPTS} times" in again(job).problem


@pytest.mark.django_db(transaction=True)
class TestAside:
    @pytest.fixture(autouse=True)
    def _at_once(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(working, "PAUSE", 0.0)

    def test_it_is_seen_before_the_transaction_ends(self, job: Job, register: Register) -> None:
        seen: list[int] = []

        def handler(given: Job, progress: Progress) -> None:
            with transaction.atomic():
                Group.objects.filter(pk=given.group_id).update(name="All or nothing")
                progress.aside(7, 9)
                # Read through a connection of its own as well.
                working.apart(lambda: seen.append(again(given).done))

        register(handler)
        work_off(job.pk)
        assert seen == [7]

    def test_a_stop_takes_everything_back(self, job: Job, register: Register, cast: Cast) -> None:
        def handler(given: Job, progress: Progress) -> None:
            with transaction.atomic():
                Group.objects.filter(pk=given.group_id).update(about="Half done")
                working.apart(lambda: stop(given))
                progress.aside(7, 9)

        register(handler)
        work_off(job.pk)
        assert again(job).state == State.STOPPED
        assert Group.objects.get(pk=cast.group.pk).about == ""
