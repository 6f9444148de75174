"""A job that scores a group's visits anew: ordered, worked off in batches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from uuid import UUID

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.jobs.kinds import Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.services import request_job
from portal.jobs.working import Progress
from surveys.errors import need_text
from surveys.scores.rescoring import rescore_visits, visits_to_rescore

KIND = "rescoring"
# Small enough to finish far within a claim and to hold its locks for a moment only.
BATCH = 1_000
# A visit that could never be brought up to date must not keep a job going for ever.
MOST_ROUNDS = 3


def request_rescoring(*, person: Person | None, group: Group, reason: str) -> Job:
    """Order it, or get the job that is under way. `person` None is the portal's operator at a command."""
    if person is not None:
        require(person, "visit.rescore", group)
    return request_job(
        person=person,
        group=group,
        kind=KIND,
        key=KIND,
        parameters={},
        label=_("Score visits anew"),
        reason=need_text(reason, "reason", _("Say why: it stays in the group's records.")),
        total=visits_to_rescore(group).count(),
        link=reverse("rescore_list", args=[group.slug]),
    )


@job_kind(KIND, label=gettext_lazy("Scoring anew"))
def rescore_in_background(job: Job, progress: Progress) -> Outcome:
    """The job: a batch's scores and its progress stand or fall together, and what is scored stays scored."""
    # What is left is counted again: visits may have come or been scored since.
    progress(job.done, job.done + visits_to_rescore(job.group).count(), _("Scoring the visits"))
    for batch in _batches(job.group):
        with transaction.atomic():
            progress(job.done + len(batch))
            rescore_visits(person=None, group=job.group, visits=batch)
    words = ngettext("%d visit was looked at.", "%d visits were looked at.", job.done) % job.done
    return Outcome(summary=words)


def _batches(group: Group) -> Iterator[Sequence[UUID]]:
    """Numbers of visits that need it, by 1,000, in rounds: more may come to need it behind a job's back."""
    for _round in range(MOST_ROUNDS):
        last: UUID | None = None
        while batch := _next_batch(group, last):
            yield batch
            last = batch[-1]
        if last is None:
            return


def _next_batch(group: Group, last: UUID | None) -> list[UUID]:
    waiting = visits_to_rescore(group)
    rest = waiting.filter(pk__gt=last) if last else waiting
    return list(rest.values_list("pk", flat=True)[:BATCH])
