"""Asking for a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.jobs.services import end_job, request_job
from portal.reports.models import YearlyReport
from portal.reports.queries import printable_picture_of, reportable_years
from portal.reports.services.making import KIND

State = YearlyReport.State
Changes = dict[str, Any]


class NotADraft(Exception):
    """A published report keeps its words; a correction is a new edition."""


@dataclass(frozen=True)
class Words:
    """What a coordinator adds to the figures: captions by section, and the keys of sections left out."""

    foreword: str = ""
    captions: Mapping[str, str] = field(default_factory=dict)
    left_out: Sequence[str] = ()
    correction: str = ""


@transaction.atomic
def request_report(*, person: Person, group: Group, year: int, foreword: str = "") -> YearlyReport:
    """Order the report on `year`: an unpublished edition is made anew, after publication comes the next one.

    Without a foreword the one written before stays.

    Raises ValueError for a year of which the group has no records.
    """
    require(person, "report.make", group)
    if year not in reportable_years(group):
        raise ValueError(f"The group has no records of {year}.")
    # Two coordinators asking at once must get one edition, so they queue for the group's row.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    report = _unpublished(group, year) or _next_edition(group, year)
    report.foreword = foreword or report.foreword
    report.picture = printable_picture_of(group)
    _queue(report, person)
    record_change(actor=person, verb="report.requested", thing=report, changes={"year": [None, year]})
    return report


def _unpublished(group: Group, year: int) -> YearlyReport | None:
    found = YearlyReport.objects.of_group(group).filter(year=year).exclude(state=State.PUBLISHED)
    return found.select_for_update(of=("self",)).select_related("job", "group").first()


def _next_edition(group: Group, year: int) -> YearlyReport:
    latest = YearlyReport.objects.of_group(group).filter(year=year).order_by("-edition").first()
    if latest is None:
        return YearlyReport(group=group, year=year)
    # A correction mends one thing: all other words stay as they were published.
    return YearlyReport(
        group=group,
        year=year,
        edition=latest.edition + 1,
        foreword=latest.foreword,
        captions=latest.captions,
        left_out=latest.left_out,
    )


@transaction.atomic
def reword_report(*, person: Person, report: YearlyReport, words: Words) -> YearlyReport:
    """Set the pages anew with other words and sections and the same figures; raises NotADraft for no draft."""
    require(person, "report.make", report)
    found = YearlyReport.objects.of_group(report.group).select_for_update(of=("self",))
    locked = found.select_related("job", "group").get(pk=report.pk)
    if locked.is_published:
        raise NotADraft
    before = {name: getattr(locked, name) for name in asdict(words)}
    for name, value in asdict(words).items():
        setattr(locked, name, value)
    _queue(locked, person, keep_figures=True)
    changes: Changes = {name: [before[name], value] for name, value in asdict(words).items()}
    record_change(actor=person, verb="report.reworded", thing=locked, changes=changes)
    return locked


def _queue(report: YearlyReport, person: Person, *, keep_figures: bool = False) -> None:
    """Back to the start; a worker that is at it already finds its job ended and stops."""
    if report.job:
        end_job(report.job)
    report.job = request_job(
        person=person,
        group=report.group,
        kind=KIND,
        parameters={"report": str(report.pk), "keep_figures": keep_figures},
        label=_("Report on %(year)d") % {"year": report.year},
        total=100,
        link=reverse("report_detail", args=[report.group.slug, report.pk]),
    )
    report.state, report.problem = State.QUEUED, ""
    report.made_by_id = person.user_id
    report.save()
