"""Undoing a whole import while nobody has built on its visits."""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.accounts.access import Person, require
from portal.audit.services import record_change, record_change_of_each
from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import starter_of
from portal.jobs.services import request_job
from portal.jobs.working import Progress
from surveys.errors import NotPossible, need_text
from surveys.importing.holds import reasons_to_keep
from surveys.models import ImportRun, Visit

KIND = "import_undo"


@transaction.atomic
def request_undoing(*, person: Person, run: ImportRun, reason: str) -> Job:
    """Order the removal of all visits of a sheet; raises NotPossible, saying why, where they must stay."""
    require(person, "import.run", run)
    why = need_text(reason, "reason", _("Say why: it stays in the group's records."))
    _require_free(run)
    return request_job(
        person=person,
        group=run.group,
        kind=KIND,
        key=f"import {run.pk}",
        parameters={"run": str(run.pk)},
        label=_("Undo %(name)s") % {"name": run.file_name},
        reason=why,
        link=reverse("import_detail", args=[run.group.slug, run.pk]),
    )


@job_kind(KIND, label=gettext_lazy("Undoing an import"), at_most=timedelta(minutes=30))
def undo_in_background(job: Job, progress: Progress) -> None:
    """The job: all visits go in one transaction with its end, or none."""
    person = starter_of(job)
    run = ImportRun.objects.of_group(job.group).select_related("group").get(pk=job.parameters["run"])
    if person is None:
        raise JobProblem(_("Whoever ordered this is no longer there."))
    try:
        with transaction.atomic():
            gone = undo_run(person=person, run=run, reason=job.reason)
            words = ngettext("%d visit was removed.", "%d visits were removed.", gone) % gone
            progress.finish(Outcome(summary=words))
    except NotPossible as refused:
        raise JobProblem(refused.message) from refused


@transaction.atomic
def undo_run(*, person: Person, run: ImportRun, reason: str) -> int:
    """Remove every visit of a sheet and return how many; raises NotPossible where one of them must stay.

    The visits themselves go, since nobody has looked at them and no frozen record names them; what was loaded,
    when, by whom and why it was undone stays in the audit trail, with an entry for each visit.
    """
    require(person, "import.run", run)
    why = need_text(reason, "reason", _("Say why: it stays in the group's records."))
    run = (
        ImportRun.objects.of_group(run.group)
        .select_for_update(of=("self",))
        .select_related("group")
        .get(pk=run.pk)
    )
    if run.undone_at:
        return 0
    # Locked, so that nobody approves one while it goes.
    visits = Visit.objects.of_group(run.group).filter(import_run=run)
    held = list(visits.select_for_update(of=("self",)).order_by("pk"))
    _require_free(run)
    record_change_of_each(actor=person, verb="visit.removed", things=held, reason=why)
    visits.delete()
    run.undone_at, run.undone_by_id, run.undone_reason = timezone.now(), person.user_id, why
    run.save(update_fields=["undone_at", "undone_by", "undone_reason"])
    changes = {"visits_loaded": [len(held), 0]}
    record_change(actor=person, verb="import.undone", thing=run, changes=changes, reason=why)
    return len(held)


def _require_free(run: ImportRun) -> None:
    if not run.loaded_at or run.undone_at:
        raise NotPossible(_("There is nothing to undo: the sheet is not loaded."))
    reasons = reasons_to_keep(run)
    if reasons:
        raise NotPossible(_("It cannot be undone: %(reasons)s") % {"reasons": " ".join(reasons)})
