"""Doing a job: claimed by one worker at a time, its claim renewed with every step, taken up when one dies."""

from __future__ import annotations

import logging
import threading
import time
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import InterfaceError, OperationalError, connection, transaction
from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.languages import speaking_to
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import carried, wide, within
from portal.audit.origins import Way, coming_from
from portal.audit.services import record_change
from portal.jobs.kinds import JobProblem, Kind, Outcome, Stopped, kind_of
from portal.jobs.models import Job
from portal.jobs.services import FILES_KEPT

log = logging.getLogger(__name__)
State = Job.State
LEASE = timedelta(minutes=5)
# A job that kills its worker every time must not keep it from all other work.
MOST_ATTEMPTS = 5
# Between two saves of a progress that is told for every row.
PAUSE = 0.5


class Progress:
    """The claim on one job, handed to its handler as `progress`."""

    def __init__(self, job: Job, at_most: timedelta | None = None) -> None:
        self.job = job
        self._at_most = at_most
        self._begun = time.monotonic()
        self._told_aside = self._begun

    def __call__(self, done: int, total: int | None = None, step: str | None = None) -> None:
        """Save how far it is and renew the claim, in the transaction that is open, if any.

        So a batch's rows and its progress stand or fall together. Raises Stopped when the job is no longer
        this worker's, and JobProblem when the attempt takes longer than its kind may.
        """
        self._check_time()
        self._save(done, total, step)

    def aside(self, done: int, total: int | None = None, step: str | None = None) -> None:
        """The same at once and for all to see, while a transaction that is all or nothing stays open.

        Goes through a connection of its own, at most twice a second.
        """
        self._check_time()
        if time.monotonic() - self._told_aside < PAUSE:
            return
        apart(lambda: self._save(done, total, step))
        self._told_aside = time.monotonic()

    def finish(self, outcome: Outcome | None = None) -> None:
        """Mark the job as done, in the transaction that holds its last change; raises Stopped.

        Whoever returns an outcome from the handler need not call it.
        """
        with transaction.atomic():
            self._finish(outcome or Outcome())

    def _finish(self, outcome: Outcome) -> None:
        job = self._mine().select_for_update().first()
        if job is None:
            raise Stopped
        job.state, job.claimed_until, job.ended_at = State.DONE, None, timezone.now()
        job.total, job.step = max(job.done, job.total), ""
        job.done = job.total
        job.summary, job.link = outcome.summary, outcome.link or job.link
        if outcome.content is not None:
            job.file.save(f"{uuid.uuid4()}", ContentFile(outcome.content), save=False)
            job.file_name, job.file_until = outcome.file_name, timezone.now() + FILES_KEPT
        job.save()
        record_change(actor=None, verb="job.done", thing=job, changes={"done": [0, job.done]})

    def _mine(self) -> GroupOwnedQuerySet[Job]:
        # The number of the attempt tells one holder of the claim from the next.
        found = Job.objects.of_group(self.job.group)
        return found.filter(pk=self.job.pk, state=State.RUNNING, attempts=self.job.attempts)

    def _save(self, done: int, total: int | None, step: str | None) -> None:
        job = self.job
        job.done = done
        job.total = max(done, job.total if total is None else total)
        job.step = job.step if step is None else step[:200]
        changes: dict[str, Any] = {"done": job.done, "total": job.total, "step": job.step}
        if not self._mine().update(claimed_until=Now() + LEASE, **changes):
            raise Stopped

    def _check_time(self) -> None:
        if self._at_most and time.monotonic() - self._begun > self._at_most.total_seconds():
            minutes = int(self._at_most.total_seconds() // 60)
            raise JobProblem(
                _("It took longer than %(minutes)d minutes. Nothing was kept.") % {"minutes": minutes}
            )


def apart(act: Callable[[], None]) -> None:
    """Call `act` in a thread, and so with a database connection, of its own; what it raises is raised here."""
    raised: list[BaseException] = []

    def run() -> None:
        try:
            act()
        except BaseException as error:
            raised.append(error)
        finally:
            connection.close()

    thread = threading.Thread(target=carried(run), name="job-progress")
    thread.start()
    thread.join()
    if raised:
        raise raised[0]


def work_off(job_id: UUID) -> None:
    """Do a job unless somebody else is at it; one that was broken off goes on or begins anew."""
    job = _claim(job_id)
    if job:
        # What it stores and says is in the language of whoever ordered it.
        with (
            within(job.group_id),
            speaking_to(group=job.group, own=job.language),
            coming_from(_way_of(job), job.kind),
        ):
            _work_off(job)


def _way_of(job: Job) -> Way:
    return Way.IMPORT if job.kind.startswith("import") else Way.JOB


def _work_off(job: Job) -> None:
    kind = kind_of(job.kind)
    if kind is None:
        _fail(job, None, _("This portal does not know how to do it (%(kind)s).") % {"kind": job.kind})
        return
    try:
        _do(job, kind)
    except Stopped:
        log.info("Job %s was stopped or taken over; this worker ends.", job.pk)
    except JobProblem as problem:
        _fail(job, kind, str(problem))
    except (OperationalError, InterfaceError):
        # A database that restarts comes back; the sweep takes the job up when the claim has run out.
        log.exception("Job %s lost its database.", job.pk)
    except Exception:
        log.exception("Job %s could not be done.", job.pk)
        _fail(job, kind, _("Something went wrong. The portal's operator finds more in the log."))


def _do(job: Job, kind: Kind) -> None:
    progress = Progress(job, kind.at_most)
    outcome = kind.handler(job, progress)
    if Job.objects.of_group(job.group).filter(pk=job.pk, state=State.DONE).exists():
        return
    progress.finish(outcome)


@transaction.atomic
@wide("a worker is given the job's number only")
def _claim(job_id: UUID) -> Job | None:
    jobs = Job.objects.across_groups("a worker is given the job's number only").select_related("group")
    free = Q(state=State.QUEUED) | Q(state=State.RUNNING, claimed_until__lt=Now())
    job = jobs.select_for_update(skip_locked=True, of=("self",)).filter(free, pk=job_id).first()
    if job is None:
        return None
    job.attempts += 1
    if job.attempts > MOST_ATTEMPTS:
        _give_up(job)
        return None
    job.state = State.RUNNING
    job.save(update_fields=["state", "attempts"])
    jobs.filter(pk=job.pk).update(claimed_until=Now() + LEASE)
    return job


def _give_up(job: Job) -> None:
    with speaking_to(group=job.group, own=job.language):
        words = _("It was broken off %(times)d times. The portal's operator finds more in the log.")
        _mark_failed(job, kind_of(job.kind), words % {"times": MOST_ATTEMPTS})


@transaction.atomic
def _fail(job: Job, kind: Kind | None, words: str) -> None:
    mine = Job.objects.of_group(job.group).filter(pk=job.pk, state=State.RUNNING, attempts=job.attempts)
    if mine.select_for_update().exists():
        _mark_failed(job, kind, words)


def _mark_failed(job: Job, kind: Kind | None, words: str) -> None:
    job.state, job.problem, job.claimed_until, job.ended_at = State.FAILED, words, None, timezone.now()
    job.save(update_fields=["state", "attempts", "problem", "claimed_until", "ended_at"])
    record_change(actor=None, verb="job.failed", thing=job, changes={"problem": ["", words]})
    if kind and kind.on_broken:
        kind.on_broken(job)
