"""Who works on a report: a claim on its row, renewed with every step, that a dead worker lets run out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.scoping import GroupOwnedQuerySet
from portal.reports.models import YearlyReport

State = YearlyReport.State
LEASE = timedelta(minutes=5)
# A report that kills its worker every time must not keep it from all other work.
MOST_ATTEMPTS = 3


class ClaimLost(Exception):
    """Another job has the report now, or it was ordered anew: this one must leave it alone."""


@dataclass
class Claim:
    """The right to work on one report until `until`, which no other job holds at the same time."""

    report: YearlyReport
    until: datetime

    def tell(self, percent: int, step: str) -> None:
        """Save how far the work is, for the page to show at once, and renew the claim; raises ClaimLost."""
        renewed = timezone.now() + LEASE
        if not self._mine().update(progress=percent, step=step, claimed_until=renewed):
            raise ClaimLost(self.report.pk)
        self.until = renewed

    def lock(self) -> YearlyReport:
        """The row as it is now, locked, for the last change; needs a transaction, raises ClaimLost."""
        report = self._mine().select_for_update().first()
        if report is None:
            raise ClaimLost(self.report.pk)
        return report

    def _mine(self) -> GroupOwnedQuerySet[YearlyReport]:
        # The end of the claim tells one holder from the next.
        found = YearlyReport.objects.of_group(self.report.group)
        return found.filter(pk=self.report.pk, state=State.RUNNING, claimed_until=self.until)


@transaction.atomic
def claim_report(report_id: UUID) -> Claim | None:
    """Take a report that waits or whose job died; None when there is nothing to do."""
    found = YearlyReport.objects.across_groups("a job is given the report's number only")
    report = (
        found.select_for_update(skip_locked=True, of=("self",))
        .select_related("group")
        .filter(pk=report_id)
        .first()
    )
    now = timezone.now()
    if report is None or not _is_free(report, now):
        return None
    if report.attempts >= MOST_ATTEMPTS:
        _give_up(report)
        return None
    report.state, report.claimed_until, report.attempts = State.RUNNING, now + LEASE, report.attempts + 1
    report.save(update_fields=["state", "claimed_until", "attempts"])
    return Claim(report, now + LEASE)


def _is_free(report: YearlyReport, now: datetime) -> bool:
    if report.state == State.QUEUED:
        return True
    return report.state == State.RUNNING and (report.claimed_until is None or report.claimed_until < now)


def _give_up(report: YearlyReport) -> None:
    report.state, report.claimed_until = State.FAILED, None
    report.problem = _("Making it was broken off %(times)d times.") % {"times": report.attempts}
    report.save(update_fields=["state", "claimed_until", "problem"])
