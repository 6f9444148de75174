"""Celery tasks of the reports."""

from __future__ import annotations

from uuid import UUID

from celery import shared_task
from django.utils import timezone

from portal.reports.queries import stalled_reports
from portal.reports.services import make_report


@shared_task
def make_yearly_report(report_id: str) -> None:
    """Make one report."""
    make_report(UUID(report_id))


@shared_task
def resume_reports() -> None:
    """Take up what a dead worker or a missed nudge has left."""
    for report_id in stalled_reports(timezone.now()):
        make_report(report_id)
