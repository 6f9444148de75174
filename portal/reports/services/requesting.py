"""Asking for a report."""

from __future__ import annotations

import logging
import threading
from uuid import UUID

from celery import current_app
from django.db import transaction
from kombu.exceptions import OperationalError

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.reports.models import YearlyReport
from portal.reports.queries import reportable_years

log = logging.getLogger(__name__)
State = YearlyReport.State
TASK = "portal.reports.tasks.make_yearly_report"


@transaction.atomic
def request_report(*, person: Person, group: Group, year: int, foreword: str = "") -> YearlyReport:
    """Order the report on `year`: an unpublished edition is made anew, after publication comes the next one.

    Raises ValueError for a year of which the group has no records.
    """
    require(person, "report.make", group)
    if year not in reportable_years(group):
        raise ValueError(f"The group has no records of {year}.")
    # Two coordinators asking at once must get one edition, so they queue for the group's row.
    Group.objects.select_for_update().get(pk=group.pk)
    report = _unpublished(group, year) or _next_edition(group, year)
    _queue(report, person, foreword)
    record_change(actor=person, verb="report.requested", thing=report, changes={"year": [None, year]})
    transaction.on_commit(lambda: _nudge(report.pk))
    return report


def _unpublished(group: Group, year: int) -> YearlyReport | None:
    found = YearlyReport.objects.of_group(group).filter(year=year).exclude(state=State.PUBLISHED)
    return found.select_for_update().first()


def _next_edition(group: Group, year: int) -> YearlyReport:
    latest = YearlyReport.objects.of_group(group).filter(year=year).order_by("-edition").first()
    return YearlyReport(group=group, year=year, edition=latest.edition + 1 if latest else 1)


def _queue(report: YearlyReport, person: Person, foreword: str) -> None:
    """Back to the start; a job that is at it already finds its claim gone and stops."""
    report.state, report.claimed_until = State.QUEUED, None
    report.progress, report.step, report.problem, report.attempts = 0, "", "", 0
    report.foreword, report.made_by_id = foreword, person.user_id
    report.save()


def _nudge(report_id: UUID) -> None:
    # A dead broker may take seconds to be found dead, and the page must not wait for that.
    threading.Thread(target=_tell_workers, args=[report_id], name="report-nudge", daemon=True).start()


def _tell_workers(report_id: UUID) -> None:
    """Send the job; without a broker the next sweep finds the report all the same."""
    try:
        current_app.send_task(TASK, args=[str(report_id)])
    except OperationalError:
        log.warning("No broker to tell of report %s; the sweep will take it up.", report_id)
