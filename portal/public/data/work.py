"""Open data as long work."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.working import Progress
from portal.public.data.services import KIND, make_open_data
from surveys.errors import NotPossible


@job_kind(KIND, label=gettext_lazy("Files of open data"))
def run_open_data(job: Job, progress: Progress) -> Outcome:
    """Make the files, if the group publishes still."""
    if not job.group.is_public:
        raise JobProblem(_("The group does not publish its results any more."))
    try:
        rows = make_open_data(job.group, lambda done: progress(done, max(done, job.total)))
    except NotPossible as reason:
        raise JobProblem(reason.message) from reason
    words = ngettext("%d visit is in the files.", "%d visits are in the files.", rows)
    return Outcome(summary=words % rows)
