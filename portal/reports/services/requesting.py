"""Asking for a report."""

from __future__ import annotations

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.jobs.services import end_job, request_job
from portal.reports.models import YearlyReport
from portal.reports.queries import reportable_years
from portal.reports.services.making import KIND

State = YearlyReport.State


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
    return report


def _unpublished(group: Group, year: int) -> YearlyReport | None:
    found = YearlyReport.objects.of_group(group).filter(year=year).exclude(state=State.PUBLISHED)
    return found.select_for_update(of=("self",)).select_related("job", "group").first()


def _next_edition(group: Group, year: int) -> YearlyReport:
    latest = YearlyReport.objects.of_group(group).filter(year=year).order_by("-edition").first()
    return YearlyReport(group=group, year=year, edition=latest.edition + 1 if latest else 1)


def _queue(report: YearlyReport, person: Person, foreword: str) -> None:
    """Back to the start; a worker that is at it already finds its job ended and stops."""
    if report.job:
        end_job(report.job)
    report.job = request_job(
        person=person,
        group=report.group,
        kind=KIND,
        parameters={"report": str(report.pk)},
        label=_("Report on %(year)d") % {"year": report.year},
        total=100,
        link=reverse("report_detail", args=[report.group.slug, report.pk]),
    )
    report.state, report.problem = State.QUEUED, ""
    report.foreword, report.made_by_id = foreword, person.user_id
    report.save()
