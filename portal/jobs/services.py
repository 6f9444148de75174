"""Ordering and stopping long work."""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from celery import current_app
from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.translation import get_language
from kombu.exceptions import OperationalError

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.jobs.kinds import kind_of
from portal.jobs.models import Job

log = logging.getLogger(__name__)
State = Job.State
TASK = "portal.jobs.tasks.run_job"
FILES_KEPT = timedelta(days=7)


class JobOver(Exception):
    """What is over cannot be stopped."""


@transaction.atomic
def request_job(
    *,
    person: Person | None,
    group: Group,
    kind: str,
    parameters: Mapping[str, Any],
    label: str,
    key: str = "",
    total: int = 0,
    reason: str = "",
    link: str = "",
) -> Job:
    """Order a job; the caller has asked for the right to do what the job does. None is the portal's operator.

    It is done in the language spoken now. `label` says in words what is done; `link` is the page it belongs
    to. With a `key`, get the job of that key that is under way in the group, if there is one.
    """
    if key:
        # Two people asking at once get one job: they queue for the group's row. Without NO KEY the lock would
        # clash with the foreign keys of visits that are sent in just now, and deadlock.
        Group.objects.select_for_update(no_key=True).get(pk=group.pk)
        live = Job.objects.of_group(group).filter(key=key, state__in=Job.LIVE).first()
        if live:
            return live
    job = Job.objects.create(
        group=group,
        started_by_id=person.user_id if person else None,
        kind=kind,
        key=key,
        label=label[:200],
        parameters=dict(parameters),
        total=total,
        reason=reason,
        language=get_language() or "" if person else "",
        link=link,
    )
    record_change(actor=person, verb="job.requested", thing=job, changes={"kind": [None, kind]}, reason=reason)
    transaction.on_commit(lambda: _nudge(job.pk))
    return job


@transaction.atomic
def stop_job(*, person: Person, job: Job) -> None:
    """Stop a job at its next step; raises JobOver when it has ended already."""
    require(person, "job.stop", job)
    if not end_job(job):
        raise JobOver
    record_change(actor=person, verb="job.stopped", thing=job)
    kind = kind_of(job.kind)
    if kind and kind.on_broken:
        kind.on_broken(job)


def end_job(job: Job) -> bool:
    """Take a job that is under way from whoever works on it; False when it is over."""
    live = Job.objects.of_group(job.group).filter(pk=job.pk, state__in=Job.LIVE)
    return bool(live.update(state=State.STOPPED, claimed_until=None, ended_at=Now()))


@wide("the sweep is for every group's jobs")
def stalled_jobs() -> list[UUID]:
    """Jobs whose nudge was missed or whose worker died, the oldest first."""
    jobs = Job.objects.across_groups("the sweep resumes every group's jobs")
    missed = Q(state=State.QUEUED, created_at__lt=Now() - timedelta(seconds=5))
    died = Q(state=State.RUNNING, claimed_until__lt=Now())
    return list(jobs.filter(missed | died).order_by("created_at").values_list("pk", flat=True))


@wide("the sweep is for every group's jobs")
def remove_old_files(now: datetime | None = None) -> int:
    """Remove what was kept for fetching long enough; return how many files went."""
    jobs = Job.objects.across_groups("the sweep removes old files of every group")
    old = list(jobs.filter(file_until__lt=now or timezone.now()).exclude(file=""))
    for job in old:
        job.file.delete(save=False)
        # The end stays: it tells the page why there is no file any more.
        jobs.filter(pk=job.pk).update(file="")
    return len(old)


def _nudge(job_id: UUID) -> None:
    # A dead broker may take seconds to be found dead, and the page must not wait for that.
    threading.Thread(target=_tell_workers, args=[job_id], name="job-nudge", daemon=True).start()


def _tell_workers(job_id: UUID) -> None:
    """Send the nudge; without a broker the next sweep finds the job all the same."""
    try:
        current_app.send_task(TASK, args=[str(job_id)])
    except OperationalError:
        log.warning("No broker to tell of job %s; the sweep will take it up.", job_id)
