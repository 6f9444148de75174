"""When contacts are at work, and how a group wants its alerts followed up."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, time
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from alerts.contacts.working_time import policy_of
from alerts.models import AgencyContact, AlertPolicy, ContactAbsence, ContactHours, Holiday
from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change

POLICY_FIELDS = ("remind_hours", "repeat_days", "drill_days")


@transaction.atomic
def set_hours(*, person: Person, contact: AgencyContact, hours: Mapping[int, tuple[time, time]]) -> None:
    """Say when a contact is at work, by weekday (0 is Monday); nothing for somebody who is always told."""
    require(person, "contact.manage", contact)
    rows = ContactHours.objects.of_group(contact.group).filter(contact=contact)
    before = _words({each.weekday: (each.opens, each.closes) for each in rows})
    rows.delete()
    ContactHours.objects.bulk_create(
        ContactHours(contact=contact, weekday=weekday, opens=opens, closes=closes)
        for weekday, (opens, closes) in hours.items()
    )
    changes = {"hours": [before, _words(hours)]}
    record_change(actor=person, verb="contact.hours_set", thing=contact, changes=changes)


def _words(hours: Mapping[int, tuple[time, time]]) -> list[str]:
    return [f"{weekday} {opens:%H:%M}-{closes:%H:%M}" for weekday, (opens, closes) in sorted(hours.items())]


@transaction.atomic
def add_absence(
    *, person: Person, contact: AgencyContact, first_day: date, last_day: date, note: str = ""
) -> ContactAbsence:
    """Note that a contact is away. Raises ValidationError when it ends before it begins."""
    require(person, "contact.manage", contact)
    if last_day < first_day:
        raise ValidationError({"last_day": _("The last day must not be before the first.")})
    absence = ContactAbsence.objects.create(
        contact=contact, first_day=first_day, last_day=last_day, note=note.strip()
    )
    changes = {"absence": [None, str(absence)]}
    record_change(actor=person, verb="contact.absence_added", thing=contact, changes=changes)
    return absence


@transaction.atomic
def remove_absence(*, person: Person, absence: ContactAbsence) -> None:
    """Take an absence out again."""
    require(person, "contact.manage", absence.contact)
    changes = {"absence": [str(absence), None]}
    record_change(actor=person, verb="contact.absence_removed", thing=absence.contact, changes=changes)
    absence.delete()


@transaction.atomic
def add_holiday(*, person: Person, group: Group, day: date, name: str) -> Holiday:
    """Note a day on which nobody at the agencies works. Raises ValidationError for a day noted already."""
    require(person, "contact.manage", group)
    holiday, is_new = Holiday.objects.get_or_create(group=group, day=day, defaults={"name": name.strip()})
    if not is_new:
        raise ValidationError({"day": _("This day is on the list already.")})
    record_change(actor=person, verb="holiday.added", thing=holiday, changes={"day": [None, str(day)]})
    return holiday


@transaction.atomic
def remove_holiday(*, person: Person, holiday: Holiday) -> None:
    """Take a holiday off the list."""
    require(person, "contact.manage", holiday)
    record_change(
        actor=person, verb="holiday.removed", thing=holiday, changes={"day": [str(holiday.day), None]}
    )
    holiday.delete()


@transaction.atomic
def set_policy(*, person: Person, group: Group, fields: Mapping[str, Any]) -> AlertPolicy:
    """Say how alerts are followed up; what runs already keeps the times it was given."""
    require(person, "contact.manage", group)
    policy = policy_of(group)
    changes = {
        name: [getattr(policy, name), fields[name]]
        for name in POLICY_FIELDS
        if getattr(policy, name) != fields[name]
    }
    for name in POLICY_FIELDS:
        setattr(policy, name, fields[name])
    policy.save()
    if changes:
        record_change(actor=person, verb="group.alert_policy_set", thing=group, changes=changes)
    return policy
