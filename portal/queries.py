"""What the shell's own pages read: a member's part of the desk."""

from __future__ import annotations

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Visit
from surveys.models.visits import Status
from surveys.queries import visits_of


def returned_to(person: Person, group: Group) -> GroupOwnedQuerySet[Visit]:
    """Visits sent back to this person to be mended, longest first."""
    returned = visits_of(group).filter(status=Status.RETURNED)
    own = returned.filter(recorder=person.user_id) | returned.filter(entered_by=person.user_id)
    return own.order_by("reviewed_at")
