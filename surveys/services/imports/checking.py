"""Checking a kept sheet as long work: what it found is kept with the sheet until it is loaded or goes."""

from __future__ import annotations

from datetime import timedelta
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import starter_of
from portal.jobs.services import request_job
from portal.jobs.working import Progress
from surveys.importing.checking import CheckedSheet, Tell, check_sheet, say_nothing
from surveys.importing.laying import LaidSheet
from surveys.importing.mending import as_workbook, bad_lines
from surveys.importing.plans import Plan
from surveys.importing.raw import RawSheet
from surveys.importing.reading import UnusableFile
from surveys.importing.reports import Report, report_of
from surveys.models import ImportRun
from surveys.services.imports.keeping import keep_sheet, laid_out, map_columns

KIND = "import_check"
# Some ten times as long as the largest sheet takes.
AT_MOST = timedelta(minutes=10)


def check_key(run: ImportRun) -> str:
    """Of the checks of one sheet only one is under way."""
    return f"import check {run.pk}"


@transaction.atomic
def take_sheet(*, person: Person, group: Group, file: IO[bytes], file_name: str) -> ImportRun:
    """Keep a sheet and order its check where nobody need be asked what it means; raises UnusableFile."""
    run = keep_sheet(person=person, group=group, file=file, file_name=file_name)
    if run.plan:
        request_check(person=person, run=run)
    return run


@transaction.atomic
def explain_sheet(*, person: Person, run: ImportRun, raw: RawSheet, plan: Plan) -> Job:
    """Say what a sheet means, and order its check."""
    map_columns(person=person, run=run, raw=raw, plan=plan)
    return request_check(person=person, run=run)


def request_check(*, person: Person, run: ImportRun) -> Job:
    """Order the check of a kept sheet, or get the one that is under way."""
    require(person, "import.run", run)
    return request_job(
        person=person,
        group=run.group,
        kind=KIND,
        key=check_key(run),
        parameters={"run": str(run.pk)},
        label=_("Check %(name)s") % {"name": run.file_name},
        link=reverse("import_detail", args=[run.group.slug, run.pk]),
    )


@job_kind(KIND, label=gettext_lazy("Checking a spreadsheet"), at_most=AT_MOST)
def check_in_background(job: Job, progress: Progress) -> None:
    """The job: what it found is kept in one transaction with its end."""
    person = starter_of(job)
    run = ImportRun.objects.of_group(job.group).select_related("group").filter(pk=job.parameters["run"]).first()
    if person is None or run is None or not run.file:
        raise JobProblem(_("The sheet is kept no longer. Send it again."))
    try:
        with transaction.atomic():
            report = check_and_keep(
                person=person,
                run=run,
                tell=lambda done, total: progress.aside(done, total, _("Checking the visits")),
            )
            progress.finish(Outcome(summary=told(report)))
    except UnusableFile as unusable:
        raise JobProblem(str(unusable)) from unusable


@transaction.atomic
def check_and_keep(*, person: Person, run: ImportRun, tell: Tell = say_nothing) -> Report:
    """Check a kept sheet against the group as it is now, and keep what was found; no visit is written.

    The rows with problems are kept too, as a sheet that says what is wrong with each.
    """
    require(person, "import.run", run)
    sheet = laid_out(run)
    checked = check_sheet(group=run.group, sheet=sheet, tell=tell)
    report = report_of(run.group, sheet, checked)
    _keep_rows_to_mend(run, sheet, checked)
    run.report, run.checked_at = report.as_json(), timezone.now()
    run.save(update_fields=["report", "checked_at", "to_mend"])
    return report


def _keep_rows_to_mend(run: ImportRun, sheet: LaidSheet, checked: CheckedSheet) -> None:
    run.to_mend.delete(save=False)
    if checked.problems:
        content = as_workbook(bad_lines(sheet, checked))
        run.to_mend.save(f"{run.pk}-to-mend.xlsx", ContentFile(content), save=False)


def told(report: Report) -> str:
    """What the check found, in a sentence."""
    if report.problem_count:
        number = report.problem_count
        words = ngettext(
            "%d problem stands in the way.",
            "%d problems stand in the way.",
            number,
        )
        return words % number
    return ngettext("%d new visit can be loaded.", "%d new visits can be loaded.", report.new) % report.new
