"""One person, one enquiry: who asks twice is led on once, and what they said the second time stays."""

from __future__ import annotations

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.people.models import Enquiry, EnquiryStep, StepKind
from surveys.people.models.enquiries import OPEN_STATES
from surveys.people.services.asking import add_step, forget

YOUNG_FIELDS = ("is_minor", "minor_until", "guardian_name", "guardian_phone", "guardian_email")


def take_turns(group: Group) -> None:
    """Wait for whoever else opens an enquiry of this group just now, lest one address get two."""
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)


def others_open(enquiry: Enquiry) -> list[Enquiry]:
    """Other open enquiries of the same address, the oldest first, held until the transaction ends."""
    if not enquiry.email:
        return []
    rows = Enquiry.objects.of_group(enquiry.group).filter(state__in=OPEN_STATES, email__iexact=enquiry.email)
    found = rows.exclude(pk=enquiry.pk).order_by("asked_at").select_for_update(of=("self",))
    return list(found.select_related("group", "first_site", "supervisor", "invitation"))


def merge(kept: Enquiry, other: Enquiry, person: Person | None = None) -> EnquiryStep:
    """Let `kept` take over the course of `other` and what it says beyond; `other` goes."""
    EnquiryStep.objects.of_group(kept.group).filter(enquiry=other).update(enquiry=kept)
    step = add_step(kept, StepKind.ASKED_AGAIN, text=other.wish)
    kept.phone = kept.phone or other.phone
    kept.language = kept.language or other.language
    # Said once to be under 18, they are until somebody knows better.
    if other.is_minor and not kept.is_minor:
        for name in YOUNG_FIELDS:
            setattr(kept, name, getattr(other, name))
    kept.save()
    record_change(actor=person, verb="enquiry.merged", thing=kept)
    forget(other)
    return step
