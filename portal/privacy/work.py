"""The file of one person as long work."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.models import User
from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.working import Progress
from portal.privacy.collecting import file_of
from portal.privacy.downloads import FILE_NAME, KIND


@job_kind(KIND, label=gettext_lazy("All that is kept of me"), is_private=True)
def run_own_data(job: Job, progress: Progress) -> Outcome:
    """Pack what is kept of whoever ordered it, and of nobody else."""
    if job.started_by_id is None:
        raise JobProblem(_("Nobody is known who ordered this."))
    user = User.objects.get(pk=job.started_by_id)
    content = file_of(user, told=lambda done, total: progress(done, total))
    return Outcome(summary=_("Your file is ready."), content=content, file_name=FILE_NAME)
