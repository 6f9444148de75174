"""Duties that must be handed over before somebody is erased."""

from __future__ import annotations

from django.db.models import Q
from django.utils.translation import gettext as _

from alerts.models import AgencyContact
from portal.accounts.models import Role, User
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from surveys.models import SafeReturn


@wide("duties of a person in whichever group")
def whatever_must_come_first(user: User) -> list[str]:
    """What stands in the way of erasing this person now, in words for them; empty where nothing does."""
    return [*_last_coordinator_of(user), *_still_out(user), *_told_of_incidents(user)]


def _last_coordinator_of(user: User) -> list[str]:
    own = user.memberships.filter(left_at=None, role=Role.COORDINATOR).select_related("group")
    alone = [
        each.group.name
        for each in own
        if not members_of(each.group).filter(role=Role.COORDINATOR).exclude(pk=each.pk).exists()
    ]
    words = _("%(group)s has no coordinator but you. Name another one first.")
    return [words % {"group": name} for name in alone]


def _still_out(user: User) -> list[str]:
    rows = SafeReturn.objects.across_groups("a person's own").filter(ended_at=None)
    if rows.filter(Q(started_by=user) | Q(partner=user) | Q(named_user=user)).exists():
        return [_("A safe return that concerns you still runs. It must end first.")]
    return []


def _told_of_incidents(user: User) -> list[str]:
    rows = AgencyContact.objects.across_groups("a person's own address").filter(email__iexact=user.email)
    groups = rows.values_list("group__name", flat=True).distinct()
    words = _("%(group)s tells you of incidents. Ask its coordinators to take you off that list first.")
    return [words % {"group": name} for name in groups]
