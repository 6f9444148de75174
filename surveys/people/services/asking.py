"""Somebody asks to have a go: on the public page, or at the bank through a member."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, timedelta

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.outbox.models import Message
from portal.outbox.services import cancel_messages, forget_messages
from surveys.errors import NotPossible
from surveys.people import enquiry_mail
from surveys.people.models import Enquiry, EnquiryAttempt, EnquiryState, EnquiryStep, StepKind
from surveys.people.terms import GROUP_AN_HOUR, MAILS_TO_ADDRESS_A_DAY, SENDER_AN_HOUR

# Stands in the audit trail, which outlives the enquiry: it must not name anybody.
ASKER = "somebody who asked"


@dataclass(frozen=True)
class Asked:
    """What somebody says of themselves. Of a minor a guardian's name and telephone or address are needed."""

    name: str
    email: str = ""
    phone: str = ""
    wish: str = ""
    is_minor: bool = False
    guardian_name: str = ""
    guardian_phone: str = ""
    guardian_email: str = ""
    minor_until: date | None = None


class TooMany(Exception):
    """The form was sent too often; an hour later it is taken again."""


def count_attempt(group: Group, sender: str) -> None:
    """Count one sending of the public form by somebody at this network address; raises TooMany.

    The address is kept only as a keyed digest, for a day.
    """
    digest = salted_hmac("people.enquiry-attempt", sender, secret=settings.SECRET_KEY).hexdigest()
    an_hour_ago = timezone.now() - timedelta(hours=1)
    lately = EnquiryAttempt.objects.of_group(group).filter(at__gt=an_hour_ago)
    if lately.count() >= GROUP_AN_HOUR or lately.filter(sender=digest).count() >= SENDER_AN_HOUR:
        raise TooMany
    EnquiryAttempt.objects.create(group=group, sender=digest)


@transaction.atomic
def ask_to_join(*, group: Group, asked: Asked) -> None:
    """Keep an enquiry until its address is confirmed, and send the e-mail that asks for it.

    Whoever sends the form learns nothing of the address: what is known of it is told to its mailbox alone, at
    most three times a day.
    """
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    if _mails_today(asked.email) >= MAILS_TO_ADDRESS_A_DAY:
        return
    member = members_of(group).filter(user__email__iexact=asked.email).first()
    if member:
        enquiry_mail.say_member(member, timezone.localdate())
        return
    # Also where they have asked before: what they say now joins it once they confirm.
    made = create(group, asked, EnquiryState.UNCONFIRMED)
    add_step(made, StepKind.ASKED)
    record_change(actor=None, actor_name=ASKER, verb="enquiry.asked", thing=made)
    enquiry_mail.ask_to_confirm(made)


@wide("a mailbox is flooded through whichever group's page")
def _mails_today(email: str) -> int:
    rows = Message.objects.across_groups("a mailbox is flooded through whichever group's page")
    since = timezone.now() - timedelta(days=1)
    unasked = [enquiry_mail.KIND + what for what in ("confirm", "member")]
    return rows.filter(kind__in=unasked, to_address__iexact=email, created_at__gt=since).count()


def create(group: Group, asked: Asked, state: EnquiryState, taken_by: Person | None = None) -> Enquiry:
    """Keep what somebody said of themselves, and the language in which they asked it by themselves."""
    now = timezone.now()
    return Enquiry.objects.create(
        group=group,
        state=state,
        agreed_at=now,
        changed_at=now,
        taken_by_id=taken_by.user_id if taken_by else None,
        # At the bank it is the member who speaks it.
        language="" if taken_by else get_language() or "",
        **asdict(asked),
    )


@transaction.atomic
def erase_enquiry(*, enquiry: Enquiry) -> None:
    """Whoever asked wants to be forgotten: the enquiry goes, with every e-mail about it."""
    found = locked(enquiry)
    record_change(actor=None, actor_name=ASKER, verb="enquiry.erased", thing=found)
    forget(found)


def forget(enquiry: Enquiry) -> None:
    """Delete the row, its course, the e-mails about it, and an invitation that nobody has accepted."""
    invitation = enquiry.invitation
    forget_messages(enquiry)
    enquiry.delete()
    if invitation and invitation.accepted_at is None:
        cancel_messages(invitation)
        forget_messages(invitation)
        invitation.delete()


def locked(enquiry: Enquiry) -> Enquiry:
    """The row as it is now, held until the transaction ends; raises NotPossible when it is gone."""
    rows = Enquiry.objects.of_group(enquiry.group).select_for_update(of=("self",))
    found = rows.select_related("group", "first_site", "supervisor", "invitation").filter(pk=enquiry.pk).first()
    if found is None:
        raise NotPossible(_("This enquiry has been erased."))
    return found


def move(enquiry: Enquiry, state: EnquiryState) -> None:
    """Put the enquiry into a state; the time until it is erased begins anew."""
    enquiry.state, enquiry.changed_at = state, timezone.now()
    enquiry.save()


def add_step(enquiry: Enquiry, kind: StepKind, actor_name: str = "", text: str = "") -> EnquiryStep:
    """Write one step of the course."""
    return EnquiryStep.objects.create(enquiry=enquiry, kind=kind, actor_name=actor_name, text=text)
