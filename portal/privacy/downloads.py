"""Ordering and fetching one's own file."""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.models import Membership
from portal.accounts.walls import wide
from portal.jobs.models import Job
from portal.jobs.services import request_job

KIND, FILE_NAME = "own_data", "kept-of-me.zip"
SHOWN = 5


@transaction.atomic
@wide("a person may have left the group that it belongs to")
def request_file(person: Person) -> Job | None:
    """Order the file of all that is kept of the person; None where they never belonged to a group.

    Long work belongs to a group: the first they joined. Nobody but they themselves sees it there.
    """
    rows = Membership.objects.across_groups("a person's own memberships").select_related("group")
    first = rows.filter(user=person.user_id).order_by("joined_at").first()
    if first is None:
        return None
    label = _("All that is kept of me")
    return request_job(
        person=person, group=first.group, kind=KIND, parameters={}, label=label, key=f"{KIND}:{person.user_id}"
    )


def own_files(person: Person) -> QuerySet[Job]:
    """The files that the person has ordered, the newest first."""
    rows = Job.objects.across_groups("a person's own work")
    return rows.filter(kind=KIND, started_by=person.user_id).order_by("-created_at")
