"""Signed links of the rota: to answer for a place, take an open one, agree to a swap, read a calendar."""

from __future__ import annotations

from typing import TypeVar
from uuid import UUID

from django.db import models

from portal.accounts.access import Person
from portal.accounts.models import Membership, User
from portal.accounts.queries import person_of
from portal.accounts.signed_links import DeadLink, SignedLink
from portal.accounts.walls import admit
from surveys.rota.models import Assignment, CalendarFeed, CoverOffer, SwapOffer

# As long as the longest proposal reaches ahead, and a little more.
PLACE = SignedLink("rota.place", days=200)
COVER = SignedLink("rota.cover", days=60)
SWAP = SignedLink("rota.swap", days=60)
# As long as a calendar is subscribed to; a new address revokes it.
CALENDAR = SignedLink("rota.calendar", days=None)
# Each mail brings a new one; whoever left the group is reminded of nothing.
REMINDERS = SignedLink("rota.reminders", days=200, timeless=True)
Row = TypeVar("Row", bound=models.Model)


def place_url(assignment: Assignment) -> str:
    """Where somebody answers for their place."""
    return PLACE.address("rota_link", assignment.pk)


def cover_url(offer: CoverOffer) -> str:
    """Where somebody takes the open place they were asked for."""
    return COVER.address("cover_link", offer.pk)


def swap_url(swap: SwapOffer) -> str:
    """Where the other person agrees to a swap or not."""
    return SWAP.address("swap_link", swap.pk)


def feed_url(feed: CalendarFeed) -> str:
    """The secret address of a calendar."""
    return CALENDAR.address("rota_calendar", feed.pk)


def reminders_url(membership: Membership) -> str:
    """Where reminders are switched off and on."""
    return REMINDERS.address("reminders_link", membership.pk)


def read_reminders(token: str) -> Membership:
    """Whose reminders they are; raises Http404 or DeadLink, also where they left the group."""
    rows = Membership.objects.across_groups("the signature names the membership")
    found = _found(rows.select_related("group", "user"), REMINDERS.read_id(token))
    _require_member(found.user, found.group_id)
    return found


def read_place(token: str) -> Assignment:
    """The place a link answers for; raises Http404 or DeadLink, also where its person left the group."""
    rows = Assignment.objects.across_groups("the signature names the place")
    found = _found(rows.select_related("planned__site", "planned__group", "user"), PLACE.read_id(token))
    _require_member(found.user, found.group_id)
    return found


def read_cover(token: str) -> CoverOffer:
    """The offer of an open place; raises as `read_place` does."""
    rows = CoverOffer.objects.across_groups("the signature names the offer")
    found = _found(rows.select_related("planned__site", "planned__group", "user"), COVER.read_id(token))
    _require_member(found.user, found.group_id)
    return found


def read_swap(token: str) -> SwapOffer:
    """The swap, for the person who was asked; raises as `read_place` does."""
    rows = SwapOffer.objects.across_groups("the signature names the swap")
    related = [f"{end}__{part}" for end in ("mine", "yours") for part in ("planned__site", "user")]
    found = _found(rows.select_related("group", *related, "mine__planned__group"), SWAP.read_id(token))
    _require_member(found.yours.user, found.group_id)
    return found


def read_feed(token: str) -> CalendarFeed:
    """The calendar of an address; raises DeadLink once it was revoked or its person has no account any more."""
    rows = CalendarFeed.objects.across_groups("the signature names the calendar")
    found = _found(rows.select_related("group", "user"), CALENDAR.read_id(token))
    if found.revoked_at or (found.user and not found.user.is_active):
        raise DeadLink
    if found.user:
        admit(*person_of(found.user).group_ids)
    return found


def holder_of(user: User) -> Person:
    """The acting person behind a link that was sent to this account."""
    return person_of(user)


def _found(rows: models.QuerySet[Row], number: UUID) -> Row:
    row = rows.filter(pk=number).first()
    if row is None:
        raise DeadLink
    return row


def _require_member(user: User, group_id: UUID) -> None:
    if not person_of(user).is_member(group_id):
        raise DeadLink
