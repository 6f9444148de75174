"""Reading people and groups."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from django.http import Http404
from django.utils import timezone

from portal.accounts.access import NOBODY, Person, require
from portal.accounts.models import Group, Invitation, Membership, Role, User
from portal.accounts.prepared import prepared
from portal.accounts.walls import wide

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser
    from django.db.models import QuerySet

    from portal.accounts.scoping import GroupOwnedQuerySet


PEOPLE_PER_PAGE = 50


def person_of(user: User | AnonymousUser) -> Person:
    """The acting person behind an account, with the roles they hold today."""
    if not isinstance(user, User) or not user.is_active:
        return NOBODY
    with wide("before it is known to which groups a person belongs"):
        memberships = tuple(_memberships_of(user))
    return Person(
        user_id=user.id,
        name=user.name,
        email=user.email,
        roles=MappingProxyType({each.group_id: each.role for each in memberships}),
        memberships=memberships,
        is_operator=user.is_staff,
    )


@prepared
def _memberships_of(user: User) -> GroupOwnedQuerySet[Membership]:
    rows = Membership.objects.across_groups("a person's own memberships").filter(user=user, left_at=None)
    return rows.select_related("group").order_by("group__name")


def group_for(person: Person, slug: str, action: str = "group.view") -> Group:
    """The group at this address, if the person may do `action` in it; else Http404 or PermissionDenied.

    The person's own memberships are looked through first: no query is needed for one's own group.
    """
    for membership in person.memberships:
        if membership.group.slug == slug:
            require(person, action, membership.group)
            return membership.group
    raise Http404


def people_of(group: Group) -> GroupOwnedQuerySet[Membership]:
    """Everybody with a role in the group now, guest reviewers among them, by name."""
    return (
        Membership.objects.of_group(group)
        .filter(left_at=None, user__is_active=True)
        .select_related("user")
        .order_by("user__name")
    )


def members_of(group: Group) -> GroupOwnedQuerySet[Membership]:
    """The present members, by name: those who go out, are told and are asked; guest reviewers are not."""
    return people_of(group).exclude(role=Role.REVIEWER)


def coordinator_addresses(group: Group) -> list[str]:
    """E-mail addresses of the group's present coordinators."""
    return [each.user.email for each in members_of(group) if each.role == "coordinator"]


def open_invitations(group: Group) -> GroupOwnedQuerySet[Invitation]:
    """Invitations whose link still works, newest first."""
    waiting = Invitation.objects.of_group(group).filter(accepted_at=None, revoked_at=None)
    return waiting.filter(expires_at__gt=timezone.now()).order_by("-created_at")


def public_groups() -> QuerySet[Group]:
    """Groups that chose to publish, by name."""
    return Group.objects.filter(is_public=True).order_by("name")
