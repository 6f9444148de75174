"""The working time of a group's contacts, read from its tables."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import prefetch_related_objects

from alerts.contacts.duty import Duty
from alerts.models import AgencyContact, AlertPolicy, Holiday
from portal.accounts.models import Group


def duties_of(group: Group, contacts: Iterable[AgencyContact]) -> list[Duty]:
    """The working time of each of a group's contacts, in their order (three queries)."""
    found = list(contacts)
    prefetch_related_objects(found, "hours", "absences")
    holidays = frozenset(Holiday.objects.of_group(group).values_list("day", flat=True))
    return [_duty(each, holidays) for each in found]


def _duty(contact: AgencyContact, holidays: frozenset[date]) -> Duty:
    hours = {each.weekday: (each.opens, each.closes) for each in contact.hours.all()}
    away = tuple((each.first_day, each.last_day) for each in contact.absences.all())
    return Duty(ZoneInfo(settings.TIME_ZONE), hours, away, holidays)


def policy_of(group: Group) -> AlertPolicy:
    """How the group wants its alerts followed up; the defaults, unsaved, where it has said nothing."""
    return AlertPolicy.objects.of_group(group).first() or AlertPolicy(group=group)
