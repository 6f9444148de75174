"""Large exports as jobs."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import starter_of
from portal.jobs.working import Progress
from surveys.errors import NotPossible
from surveys.exporting.services import Wish, make_export


@job_kind("export", label=gettext_lazy("Export"))
def run_export(job: Job, progress: Progress) -> Outcome:
    """Make the file with the rights that its orderer has now."""
    person = starter_of(job)
    if person is None:
        raise JobProblem(_("Nobody is known who ordered this."))
    wish = Wish(**job.parameters)
    told = 0

    def tell(done: int) -> None:
        nonlocal told
        told = done
        # Aside, because the file is made in one transaction, which shows nothing until it ends.
        progress.aside(done, max(job.total, done))

    try:
        with make_export(person=person, group=job.group, wish=wish, progress=tell) as out:
            content = out.read()
    except NotPossible as reason:
        raise JobProblem(reason.message) from reason
    summary = ngettext("%d row is in the file.", "%d rows are in the file.", told) % told
    return Outcome(summary=summary, content=content, file_name=wish.file_name(job.group))
