"""Reading jobs."""

from __future__ import annotations

from django.db.models import Q

from portal.accounts.access import Person
from portal.accounts.models import Group, User
from portal.accounts.queries import person_of
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.jobs.kinds import private_kinds
from portal.jobs.models import Job


def jobs_of(group: Group, person: Person) -> GroupOwnedQuerySet[Job]:
    """What a member sees: their own work, and for coordinators everybody's; the newest first."""
    found = Job.objects.of_group(group).select_related("group", "started_by")
    own = Q(started_by=person.user_id)
    return found.filter(own | ~Q(kind__in=private_kinds()) if person.is_coordinator(group.pk) else own)


def live_job(group: Group, key: str) -> Job | None:
    """The job of this key that is under way."""
    return Job.objects.of_group(group).filter(key=key, state__in=Job.LIVE).first()


def last_job(group: Group, key: str) -> Job | None:
    """The job of this key that was ordered last, over or not."""
    return Job.objects.of_group(group).filter(key=key).select_related("group").first()


def starter_of(job: Job) -> Person | None:
    """Whoever ordered a job, with the rights they hold now; None is the portal's operator."""
    if job.started_by_id is None:
        return None
    return person_of(User.objects.get(pk=job.started_by_id))
