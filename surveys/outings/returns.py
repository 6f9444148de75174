"""Reading safe returns: who may see which, and the links by which whoever was told answers."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Q

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.signed_links import DeadLink, SignedLink
from surveys.models import ReturnNotice, SafeReturn

RETURN = SignedLink("surveys.safe-return", days=7)
ENDED_SHOWN = 20


def returns_for(person: Person, group: Group) -> GroupOwnedQuerySet[SafeReturn]:
    """The safe returns of the group that concern the person: to a coordinator all, to others their own."""
    found = SafeReturn.objects.of_group(group).select_related("site", "group", "started_by", "partner")
    if person.is_coordinator(group.pk):
        return found
    own = Q(started_by=person.user_id) | Q(partner=person.user_id) | Q(named_user=person.user_id)
    mine: GroupOwnedQuerySet[SafeReturn] = found.filter(own)
    return mine


def live_returns(person: Person, group: Group) -> GroupOwnedQuerySet[SafeReturn]:
    """Those still watched, the first to be back first."""
    return returns_for(person, group).filter(ended_at=None).order_by("expected_at")


def ended_returns(person: Person, group: Group) -> list[SafeReturn]:
    """The latest that ended."""
    return list(returns_for(person, group).exclude(ended_at=None).order_by("-ended_at")[:ENDED_SHOWN])


def minutes_late(due_at: datetime, now: datetime) -> int:
    """Whole minutes between when something was due and now; 0 before that."""
    return max(0, int((now - due_at).total_seconds() // 60))


def return_url(notice: ReturnNotice) -> str:
    """The whole address by which whoever was told answers."""
    return RETURN.address("return_link", notice.pk)


def read_token(token: str) -> ReturnNotice:
    """The notice a token stands for; raises Http404 for a token we never made, DeadLink after 7 days."""
    rows = ReturnNotice.objects.across_groups("the signature names the notice")
    found = rows.select_related("safe_return__site", "safe_return__group", "safe_return__started_by")
    notice = found.select_related("safe_return__partner").filter(pk=RETURN.read_id(token)).first()
    if notice is None:
        raise DeadLink
    return notice
