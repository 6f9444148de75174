"""Celery tasks of the long work."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task

from portal.jobs.services import remove_old_files, stalled_jobs
from portal.jobs.working import work_off


@shared_task
def run_job(job_id: str) -> None:
    """Do one job."""
    work_off(UUID(job_id))


@shared_task
def resume_jobs() -> None:
    """Take up what a dead worker or a missed nudge has left; remove files that were kept long enough."""
    for job_id in stalled_jobs():
        work_off(job_id)
    remove_old_files()
