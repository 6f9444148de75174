"""Makes enquiries, trainings and members under 18 for tests; all of them invented."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from portal.accounts.models import Group, Membership, User
from surveys.people.models import Enquiry, EnquiryState, Minor, Permit, Training, TrainingKind
from tests.factories import days_ago

ASKED = {
    "name": "Newt Brook",
    "email": "newt@example.org",
    "phone": "01632 960111",
    "wish": "Go along once, on a Saturday.",
    "agreed": "on",
}
YOUNG = {
    "is_minor": "on",
    "guardian_name": "Gwen Brook",
    "guardian_phone": "01632 960222",
    "guardian_email": "gwen@example.org",
}

# What the form asks besides: the month in which they turn 18.
YOUNG_FORM = YOUNG | {"adult_month": "5", "adult_year": str(timezone.localdate().year + 2)}


def membership_of(user: User, group: Group) -> Membership:
    """The user's membership of the group, with both at hand."""
    return Membership.objects.of_group(group).select_related("user", "group").get(user=user)


def enquiry_in(group: Group, state: str = EnquiryState.ASKED, **fields: Any) -> Enquiry:
    """An enquiry that has come so far."""
    now = timezone.now()
    usual = {key: value for key, value in ASKED.items() if key != "agreed"}
    invited = {"first_visit_on": timezone.localdate()} if state == EnquiryState.INVITED else {}
    return Enquiry.objects.create(
        group=group, state=state, **{**usual, **invited, "agreed_at": now, "changed_at": now, **fields}
    )


def kind_of(group: Group, permits: str = Permit.SAMPLE, **fields: Any) -> TrainingKind:
    """The group's kind of training of that permit, made if need be."""
    name = fields.pop("name", str(permits))
    found = TrainingKind.objects.of_group(group).filter(name=name).first()
    return found or TrainingKind.objects.create(group=group, permits=permits, name=name, **fields)


def trained(
    user: User,
    group: Group,
    permits: str = Permit.SAMPLE,
    *,
    on: date | None = None,
    until: date | None = None,
    **fields: Any,
) -> Training:
    """A training of a member; without `until` it does not lapse."""
    return Training.objects.create(
        membership=membership_of(user, group),
        kind=kind_of(group, permits),
        trained_on=on or days_ago(100),
        valid_until=until,
        trainer_name="Cora Example",
        **fields,
    )


def under_18(user: User, group: Group, *, days: int = 400) -> Minor:
    """Flag a member as under 18 for so many days more."""
    return Minor.objects.create(
        membership=membership_of(user, group),
        until=timezone.localdate() + timedelta(days=days),
        guardian_name="Gwen Brook",
        guardian_phone="01632 960222",
    )
