"""Making a report: gather, draw, typeset, store, with each step told as it comes."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.languages import speaking_to
from portal.audit.services import record_change
from portal.jobs.kinds import Outcome, Stopped, job_kind
from portal.jobs.models import Job
from portal.jobs.working import Progress, work_off
from portal.reports.document import Imprint, render_document, typeset
from portal.reports.editions import changed_figures
from portal.reports.figures import VERSION, gather_figures
from portal.reports.models import GroupPicture, YearlyReport
from portal.reports.queries import earlier_edition

State = YearlyReport.State
KIND = "yearly_report"


def make_report(report_id: UUID) -> None:
    """Do the report's job here and now, unless somebody else is at it or it is made."""
    found = YearlyReport.objects.across_groups("whoever makes it is given the report's number only")
    job_id = found.values_list("job", flat=True).get(pk=report_id)
    if job_id:
        work_off(job_id)


def _mark_broken(job: Job) -> None:
    found = YearlyReport.objects.of_group(job.group).filter(job=job).exclude(state=State.PUBLISHED)
    for report in found:
        report.state = State.FAILED
        report.problem = job.problem or _("Making it was stopped by hand.")
        report.save(update_fields=["state", "problem"])
        record_change(actor=None, verb="report.failed", thing=report)


@job_kind(KIND, label=gettext_lazy("Yearly report"), on_broken=_mark_broken)
def make_in_background(job: Job, progress: Progress) -> None:
    """The job: what was made is stored in one transaction with its end."""
    reports = YearlyReport.objects.of_group(job.group)
    if not reports.filter(pk=job.parameters["report"], job=job).update(state=State.RUNNING):
        raise Stopped
    report = reports.select_related("group", "picture").get(pk=job.parameters["report"])
    progress(5, 100, _("Reading the records of the year"))
    figures = _figures(report, keep=job.parameters.get("keep_figures", False))
    progress(20, 100, _("Drawing the charts"))
    html = render_document(
        figures,
        edition=report.edition,
        imprint=Imprint(picture=picture_bytes(report)),
        on_site=lambda n, of: _tell_site(progress, n, of),
    )
    progress(60, 100, _("Setting the pages"))
    pdf = typeset(html)
    progress(95, 100, _("Storing the document"))
    _store(job, progress, figures, pdf)


def _figures(report: YearlyReport, *, keep: bool) -> dict[str, Any]:
    """The figures, freshly gathered or as they were, with the coordinator's words for this edition."""
    is_known = keep and report.data.get("version") == VERSION
    # Whoever orders it may speak another language than those who will read it.
    with speaking_to(group=report.group):
        figures = report.data if is_known else gather_figures(report.group, report.year)
    before = earlier_edition(report)
    return figures | {
        "foreword": report.foreword,
        "captions": report.captions,
        "left_out": report.left_out,
        "correction": report.correction if before else "",
        "corrected_from": before.edition if before else None,
        "corrected_figures": changed_figures(before.data, figures) if before else [],
        "cover_picture": _picture_words(report.picture),
    }


def _picture_words(picture: GroupPicture | None) -> dict[str, str]:
    return {"alt": picture.alt, "credit": picture.credit} if picture else {}


def picture_bytes(report: YearlyReport) -> bytes:
    """The picture on the report's cover as JPEG; nothing where it has none."""
    if report.picture is None:
        return b""
    with report.picture.file.open("rb") as file:
        return bytes(file.read())


def _tell_site(progress: Progress, number: int, of: int) -> None:
    words = _("Drawing site %(number)d of %(of)d") % {"number": number, "of": of}
    progress(20 + 40 * number // of, 100, words)


@transaction.atomic
def _store(job: Job, progress: Progress, figures: Mapping[str, Any], pdf: bytes) -> None:
    found = YearlyReport.objects.of_group(job.group).filter(pk=job.parameters["report"], job=job)
    report = found.select_for_update(of=("self",)).first()
    if report is None:
        raise Stopped
    replace_file(report, pdf)
    report.data, report.state = dict(figures), State.READY
    report.save()
    record_change(actor=None, verb="report.made", thing=report, changes={"state": [State.RUNNING, State.READY]})
    link = reverse("report_detail", args=[job.group.slug, report.pk])
    progress.finish(Outcome(summary=_("The draft can be read now."), link=link))


def replace_file(report: YearlyReport, pdf: bytes) -> None:
    """Put a new file in place of the report's; the old one goes once the change is certain."""
    storage, old = report.file.storage, report.file.name
    report.file.save(f"{uuid.uuid4()}.pdf", ContentFile(pdf), save=False)
    if old:
        transaction.on_commit(lambda: storage.delete(old), robust=True)
