"""Publishing a report: from then on neither its figures nor its file change."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from portal.accounts.access import Person, require
from portal.audit.services import record_change
from portal.reports.document import write_pdf
from portal.reports.models import YearlyReport
from portal.reports.services.making import replace_file

State = YearlyReport.State


class NotReady(Exception):
    """Only a draft that was made and can be read can be published."""


@transaction.atomic
def publish_report(*, person: Person, report: YearlyReport) -> YearlyReport:
    """Set the pages anew from the frozen figures, without the draft mark, and put them before the public.

    Raises NotReady for a report that is not a finished draft; a correction afterwards is a new edition.
    """
    require(person, "report.make", report)
    # Locked, because a draft ordered anew meanwhile would be published unread.
    locked = YearlyReport.objects.of_group(report.group).select_for_update().get(pk=report.pk)
    if locked.state != State.READY:
        raise NotReady(locked.get_state_display())
    now = timezone.now()
    replace_file(locked, write_pdf(locked.data, edition=locked.edition, published_on=timezone.localdate(now)))
    locked.state, locked.published_at, locked.published_by_id = State.PUBLISHED, now, person.user_id
    locked.save()
    record_change(
        actor=person, verb="report.published", thing=locked, changes={"state": [State.READY, State.PUBLISHED]}
    )
    return locked
