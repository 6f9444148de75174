"""The steps by which an enquiry becomes one that coordinators see: confirmed, or written down at the bank."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.models import Group
from portal.accounts.queries import members_of
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.people import enquiry_mail
from surveys.people.models import Enquiry, EnquiryState, StepKind
from surveys.people.models.enquiries import OPEN_STATES
from surveys.people.services.asking import ASKER, Asked, add_step, create, forget, locked, move
from surveys.people.services.merging import merge, others_open, take_turns


@transaction.atomic
def confirm_enquiry(*, enquiry: Enquiry) -> Enquiry:
    """Whoever reads the mailbox says that they asked; pressed twice, the first time stands.

    Returns the enquiry that holds it now: an earlier one, where they had asked before.
    """
    take_turns(enquiry.group)
    found = locked(enquiry)
    if found.state != EnquiryState.UNCONFIRMED:
        return found
    _forget_unconfirmed(found)
    earlier = others_open(found)
    if earlier:
        step = merge(earlier[0], found)
        enquiry_mail.tell_asked_again(earlier[0], step.pk)
        return earlier[0]
    move(found, EnquiryState.ASKED)
    add_step(found, StepKind.CONFIRMED)
    record_change(actor=None, actor_name=ASKER, verb="enquiry.confirmed", thing=found)
    enquiry_mail.tell_coordinators(found)
    return found


def _forget_unconfirmed(enquiry: Enquiry) -> None:
    """Sent twice before it was confirmed: one of them is enough."""
    others = Enquiry.objects.of_group(enquiry.group).filter(state=EnquiryState.UNCONFIRMED)
    for each in others.filter(email__iexact=enquiry.email).exclude(pk=enquiry.pk):
        forget(each)


@transaction.atomic
def write_enquiry(*, person: Person, group: Group, asked: Asked) -> Enquiry:
    """A member writes down somebody who asked at the bank and agreed to be kept.

    Raises NotPossible at `email` when they are known already.
    """
    require(person, "enquiry.write", group)
    acting_id(person)
    take_turns(group)
    if asked.email:
        _need_unknown(group, asked.email)
    made = create(group, asked, EnquiryState.ASKED, person)
    add_step(made, StepKind.WRITTEN_DOWN, person.name)
    record_change(actor=person, verb="enquiry.written_down", thing=made)
    enquiry_mail.say_written_down(made, person)
    enquiry_mail.tell_coordinators(made, besides=person)
    return made


def _need_unknown(group: Group, email: str) -> None:
    if members_of(group).filter(user__email__iexact=email).exists():
        raise NotPossible(_("This address belongs to a member of the group."), "email")
    waiting = Enquiry.objects.of_group(group).filter(email__iexact=email, state__in=OPEN_STATES)
    if waiting.exists():
        raise NotPossible(_("Somebody with this address has asked already; the coordinators know."), "email")
