"""Members say when they can, how far they go and how often."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.models import Site
from surveys.rota.models import Availability, NamedDays

# The trail is kept for ever, and where somebody lives is not: there it stands only that it was changed.
UNTOLD = {"latitude", "longitude"}
MOST_SPANS = 60
LONGEST = timedelta(days=732)
# For somebody who was put down without ever saying when they can.
USUAL_DAYS = 3


@transaction.atomic
def save_availability(
    *, person: Person, group: Group, fields: Mapping[str, Any], near_sites: Iterable[Site] = ()
) -> Availability:
    """Save what a member offers to their group, by names of `Availability`."""
    require(person, "rota.view", group)
    own = _own(person, group)
    before = {name: getattr(own, name) for name in fields}
    for name, value in fields.items():
        setattr(own, name, value)
    own.has_said_when = True
    own.full_clean(exclude={"id", "group", "user"})
    own.save()
    own.near_sites.set(near_sites)
    changed = {
        name: _told(name, before[name], value) for name, value in fields.items() if before[name] != value
    }
    record_change(actor=person, verb="availability.changed", thing=own, changes=changed)
    return own


@transaction.atomic
def set_reminders(*, person: Person, group: Group, days: int) -> Availability:
    """Be reminded so many days before each visit, 0 for never; what else was said stays as it is."""
    require(person, "rota.view", group)
    rows = Availability.objects.of_group(group).select_for_update()
    own, _is_new = rows.get_or_create(
        group=group, user_id=acting_id(person), defaults={"has_said_when": False, "remind_days": USUAL_DAYS}
    )
    if own.remind_days != days:
        told = {"remind_days": [own.remind_days, days]}
        own.remind_days = days
        own.save(update_fields=["remind_days", "updated_at"])
        record_change(actor=person, verb="availability.changed", thing=own, changes=told)
    return own


def _told(name: str, before: Any, after: Any) -> list[Any]:
    return [None, _("changed")] if name in UNTOLD else [before, after]


def _own(person: Person, group: Group) -> Availability:
    rows = Availability.objects.of_group(group).select_for_update()
    own, _is_new = rows.get_or_create(group=group, user_id=acting_id(person))
    if not own.has_said_when:
        own.has_said_when = True
        own.save(update_fields=["has_said_when"])
    return own


@transaction.atomic
def add_named_days(*, person: Person, group: Group, kind: str, first_day: date, last_day: date) -> NamedDays:
    """Add days on which the member can or is away; raises NotPossible at the field that is wrong."""
    require(person, "rota.view", group)
    if last_day < first_day:
        raise NotPossible(_("The last day is before the first."), "last_day")
    if last_day < timezone.localdate():
        raise NotPossible(_("These days are past."), "first_day")
    if last_day > timezone.localdate() + LONGEST:
        raise NotPossible(_("Choose days within two years."), "last_day")
    own = _own(person, group)
    if own.named_days.count() >= MOST_SPANS:
        raise NotPossible(_("These are many entries. Take off old ones first."), "first_day")
    days = own.named_days.create(kind=kind, first_day=first_day, last_day=last_day)
    told = {"days": [None, f"{kind} {first_day} {last_day}"]}
    record_change(actor=person, verb="availability.days_added", thing=own, changes=told)
    return days


@transaction.atomic
def remove_named_days(*, person: Person, days: NamedDays) -> None:
    """Take one's own days off again."""
    require(person, "rota.view", days.availability)
    told = {"days": [str(days), None]}
    record_change(actor=person, verb="availability.days_removed", thing=days.availability, changes=told)
    days.delete()
