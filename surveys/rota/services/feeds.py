"""Secret addresses of calendars: made when first asked for, renewed when one has got about."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from portal.accounts.access import Person, acting_id, require
from portal.accounts.models import Group
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.rota.models import CalendarFeed


@transaction.atomic
@wide("a person's own calendar is of no group")
def renew_own_feed(*, person: Person, group: Group) -> CalendarFeed:
    """A new address for one's own calendar; the old one is dead from now on."""
    require(person, "rota.view", group)
    rows = CalendarFeed.objects.across_groups("a person's own calendar runs over all their groups")
    rows.filter(user=acting_id(person), revoked_at=None).update(revoked_at=timezone.now())
    feed = CalendarFeed.objects.create(user_id=acting_id(person))
    record_change(actor=person, verb="calendar.renewed", thing=feed)
    return feed


@transaction.atomic
def renew_group_feed(*, person: Person, group: Group) -> CalendarFeed:
    """A new address for the group's calendar; whoever subscribed to the old one needs the new one."""
    require(person, "rota.plan", group)
    CalendarFeed.objects.of_group(group).filter(revoked_at=None).update(revoked_at=timezone.now())
    feed = CalendarFeed.objects.create(group=group)
    record_change(actor=person, verb="calendar.renewed", thing=feed)
    return feed
