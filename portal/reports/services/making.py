"""Making a report: gather, draw, typeset, store, with each step told as it comes."""

from __future__ import annotations

import logging
import uuid
from typing import Any
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from portal.audit.services import record_change
from portal.reports.document import render_document, typeset
from portal.reports.figures import gather_figures
from portal.reports.models import YearlyReport
from portal.reports.services.claims import Claim, ClaimLost, claim_report

log = logging.getLogger(__name__)
State = YearlyReport.State


def make_report(report_id: UUID) -> None:
    """Make the report, unless somebody else is at it or it is made: calling it again never does harm."""
    claim = claim_report(report_id)
    if claim is None:
        return
    try:
        _make(claim)
    except ClaimLost:
        log.info("Report %s was ordered anew or taken over; this job stops.", report_id)
    except Exception:
        log.exception("Report %s could not be made.", report_id)
        _mark_failed(claim)


def _make(claim: Claim) -> None:
    report = claim.report
    claim.tell(5, _("Reading the records of the year"))
    figures = gather_figures(report.group, report.year) | {"foreword": report.foreword}
    claim.tell(20, _("Drawing the charts"))
    html = render_document(figures, edition=report.edition, on_site=lambda n, of: _tell_site(claim, n, of))
    claim.tell(60, _("Setting the pages"))
    pdf = typeset(html)
    claim.tell(95, _("Storing the document"))
    _store(claim, figures, pdf)


def _tell_site(claim: Claim, number: int, of: int) -> None:
    claim.tell(20 + 40 * number // of, _("Drawing site %(number)d of %(of)d") % {"number": number, "of": of})


@transaction.atomic
def _store(claim: Claim, figures: dict[str, Any], pdf: bytes) -> None:
    report = claim.lock()
    replace_file(report, pdf)
    report.data, report.state = figures, State.READY
    report.progress, report.step, report.claimed_until = 100, "", None
    report.save()
    record_change(actor=None, verb="report.made", thing=report, changes={"state": [State.RUNNING, State.READY]})


def replace_file(report: YearlyReport, pdf: bytes) -> None:
    """Put a new file in place of the report's; the old one goes once the change is certain."""
    storage, old = report.file.storage, report.file.name
    report.file.save(f"{uuid.uuid4()}.pdf", ContentFile(pdf), save=False)
    if old:
        transaction.on_commit(lambda: storage.delete(old), robust=True)


def _mark_failed(claim: Claim) -> None:
    try:
        with transaction.atomic():
            report = claim.lock()
            report.state, report.claimed_until = State.FAILED, None
            report.problem = _(
                "Something went wrong while it was made. The portal's operator finds more in the log."
            )
            report.save(update_fields=["state", "claimed_until", "problem"])
            record_change(actor=None, verb="report.failed", thing=report)
    except ClaimLost:
        log.info("Report %s has another job already.", claim.report.pk)
