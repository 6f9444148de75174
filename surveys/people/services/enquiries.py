"""A coordinator leads an enquiry on: answer, first visit, came, invited to join, or not now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Membership, Role
from portal.accounts.queries import members_of
from portal.accounts.services import invite_person, revoke_invitation
from portal.audit.services import record_change
from portal.outbox.services import forget_messages
from surveys.errors import NotPossible, need_text
from surveys.models import Site
from surveys.people import enquiry_mail
from surveys.people.models import Enquiry, EnquiryState, Minor, Permit, StepKind
from surveys.people.models.enquiries import OPEN_STATES
from surveys.people.queries import may_sample, minor_user_ids
from surveys.people.services.asking import add_step, forget, locked, move
from surveys.people.services.merging import merge, others_open, take_turns
from surveys.people.terms import GROWN_UP_WITHIN, MINOR_AT_MOST

CONTACT_FIELDS = (
    "name", "email", "phone", "language", "wish", "guardian_name", "guardian_phone", "guardian_email"
)  # fmt: skip


@dataclass(frozen=True)
class FirstVisit:
    """When and where a newcomer comes along, and who looks after them (a member's user id)."""

    day: date
    site: UUID
    supervisor: UUID
    message: str = ""


def _begin(person: Person, enquiry: Enquiry, *states: EnquiryState) -> Enquiry:
    require(person, "enquiry.manage", enquiry)
    found = locked(enquiry)
    if found.state not in states:
        raise NotPossible(
            _("This enquiry has moved on in the meantime: %(state)s.") % {"state": found.get_state_display()}
        )
    return found


@transaction.atomic
def answer_enquiry(*, person: Person, enquiry: Enquiry, message: str) -> Enquiry:
    """Answer in one's own words, by e-mail; without an address what was said by telephone is written down."""
    found = _begin(person, enquiry, *OPEN_STATES)
    words = need_text(message, "message", _("Write what they are told."))
    step = add_step(found, StepKind.ANSWERED, person.name, words)
    move(found, EnquiryState.ANSWERED if found.state == EnquiryState.ASKED else EnquiryState(found.state))
    record_change(actor=person, verb="enquiry.answered", thing=found)
    enquiry_mail.send_answer(found, person, step.pk, words)
    return found


@transaction.atomic
def invite_to_visit(*, person: Person, enquiry: Enquiry, visit: FirstVisit) -> Enquiry:
    """Invite to a first supervised visit; a second invitation replaces the first. Raises NotPossible."""
    found = _begin(person, enquiry, *OPEN_STATES)
    if visit.day < timezone.localdate():
        raise NotPossible(_("This day is past."), "day")
    site = Site.objects.of_group(found.group).filter(pk=visit.site, closed_on=None).first()
    if site is None:
        raise NotPossible(_("Choose an open site of the group."), "site")
    supervisor = members_of(found.group).filter(user=visit.supervisor).first()
    _check_supervisor(supervisor, visit.day)
    assert supervisor is not None
    found.first_visit_on, found.first_site, found.supervisor = visit.day, site, supervisor.user
    move(found, EnquiryState.INVITED)
    step = add_step(found, StepKind.INVITED, person.name, visit.message)
    record_change(
        actor=person, verb="enquiry.invited", thing=found, changes={"first_visit_on": [None, str(visit.day)]}
    )
    enquiry_mail.send_first_visit(found, person, step.pk, visit.message)
    enquiry_mail.tell_supervisor(found, person, step.pk)
    return found


def _check_supervisor(supervisor: Membership | None, day: date) -> None:
    if supervisor is None:
        raise NotPossible(_("Choose a member of the group."), "supervisor")
    if supervisor.user_id in minor_user_ids(supervisor.group, day):
        raise NotPossible(_("Somebody else must look after newcomers on that day."), "supervisor")
    may = may_sample(supervisor.group, day)
    # A group that keeps no such training decides by itself.
    somebody_leads = any(Permit.LEAD in each for each in may.values())
    if somebody_leads and Permit.LEAD not in may.get(supervisor.user_id, set()):
        raise NotPossible(
            _("%(name)s has no training in force on that day that lets them supervise newcomers.")
            % {"name": supervisor.user.name},
            "supervisor",
        )


@transaction.atomic
def mark_came(*, person: Person, enquiry: Enquiry) -> Enquiry:
    """The newcomer has come to the first visit."""
    found = _begin(person, enquiry, EnquiryState.INVITED)
    if found.first_visit_on and found.first_visit_on > timezone.localdate():
        raise NotPossible(_("The day of the visit is still to come."))
    move(found, EnquiryState.CAME)
    add_step(found, StepKind.CAME, person.name)
    record_change(actor=person, verb="enquiry.came", thing=found)
    return found


@transaction.atomic
def offer_membership(
    *, person: Person, enquiry: Enquiry, email: str, minor_until: date | None = None
) -> Enquiry:
    """Invite to join, after the first visit. Raises NotPossible at its field.

    Of somebody under 18 the day of the 18th birthday is needed; flag and guardian are kept as they join.
    """
    found = _begin(person, enquiry, EnquiryState.CAME)
    take_turns(found.group)
    if found.is_minor:
        _check_until(minor_until)
    found.email, found.minor_until = email, minor_until if found.is_minor else None
    # Sent to another address before: whoever reads that mailbox must not join with it.
    _end_invitation(person, found)
    for each in others_open(found):
        merge(found, each, person)
    try:
        found.invitation = invite_person(
            person=person, group=found.group, email=email, role=Role.VOLUNTEER, language=found.language
        )
    except ValidationError as problem:
        raise NotPossible(" ".join(problem.messages), "email") from problem
    move(found, EnquiryState.CAME)
    add_step(found, StepKind.OFFERED, person.name)
    record_change(actor=person, verb="enquiry.offered", thing=found)
    return found


def _check_until(day: date | None) -> None:
    if day is None or day <= timezone.localdate():
        raise NotPossible(_("Give the day on which they turn 18; it lies in the future."), "minor_until")
    if day > timezone.localdate() + GROWN_UP_WITHIN:
        raise NotPossible(_("This lies more than 18 years ahead. Look at the year."), "minor_until")


@transaction.atomic
def decline_enquiry(*, person: Person, enquiry: Enquiry, reason: str) -> Enquiry:
    """Nothing comes of it for now; kept until the sweep erases it. Nobody is written to."""
    found = _begin(person, enquiry, *OPEN_STATES)
    words = need_text(reason, "reason", _("Say why, in a few words."))
    _end_invitation(person, found)
    move(found, EnquiryState.NOT_NOW)
    add_step(found, StepKind.NOT_NOW, person.name, words)
    record_change(actor=person, verb="enquiry.not_now", thing=found)
    return found


def _end_invitation(person: Person, enquiry: Enquiry) -> None:
    if enquiry.invitation and enquiry.invitation.is_open:
        revoke_invitation(person=person, invitation=enquiry.invitation)


@transaction.atomic
def reopen_enquiry(*, person: Person, enquiry: Enquiry) -> Enquiry:
    """Take up again what was put off; returns the open enquiry of the same address where there is one."""
    take_turns(enquiry.group)
    found = _begin(person, enquiry, EnquiryState.NOT_NOW)
    for each in others_open(found)[:1]:
        merge(each, found, person)
        return each
    move(found, EnquiryState.ASKED)
    record_change(actor=person, verb="enquiry.reopened", thing=found)
    return found


def finish_enquiries(membership: Membership) -> None:
    """Somebody has joined: flag a minor, and let go of what they had told beforehand."""
    rows = Enquiry.objects.of_group(membership.group).filter(email__iexact=membership.user.email)
    for each in rows.exclude(state=EnquiryState.JOINED).select_for_update():
        if each.state == EnquiryState.UNCONFIRMED:
            # Anybody may have typed it: it says nothing of who has joined.
            forget(each)
            continue
        if each.is_minor:
            _flag(membership, each)
        for field in CONTACT_FIELDS:
            setattr(each, field, "")
        each.membership, each.is_minor, each.minor_until = membership, False, None
        move(each, EnquiryState.JOINED)
        each.steps.all().delete()
        forget_messages(each)
        record_change(actor=None, verb="enquiry.joined", thing=each)


def _flag(membership: Membership, enquiry: Enquiry) -> None:
    until = enquiry.minor_until or timezone.localdate() + MINOR_AT_MOST
    guardian = {name: getattr(enquiry, name) for name in ("guardian_name", "guardian_phone", "guardian_email")}
    Minor.objects.of_group(membership.group).update_or_create(
        membership=membership, defaults={"until": until, **guardian}
    )
