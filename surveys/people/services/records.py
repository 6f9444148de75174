"""What is kept of a member: a guardian, whom to ring, hours, and how a membership ends and begins again."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Invitation, Membership
from portal.accounts.services import end_membership, invite_person
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.errors import Conflict, NotPossible, need_text
from surveys.people.models import EmergencyContact, Minor, OtherHours
from surveys.people.queries import is_minor
from surveys.people.terms import GROWN_UP_WITHIN


@dataclass(frozen=True)
class Guardian:
    """Until when a member is under 18, and whom to ask."""

    until: date
    guardian_name: str
    guardian_phone: str = ""
    guardian_email: str = ""


@transaction.atomic
def set_guardian(*, person: Person, membership: Membership, guardian: Guardian) -> Minor:
    """Flag a member as under 18, with a guardian's contact; they are named in public no more."""
    require(person, "people.manage", membership)
    # Of whoever left, a guardian is nobody's business.
    _need_present(membership)
    if guardian.until <= timezone.localdate():
        raise NotPossible(_("This day is past: they are no longer under 18."), "until")
    if guardian.until > timezone.localdate() + GROWN_UP_WITHIN:
        raise NotPossible(_("This lies more than 18 years ahead. Look at the year."), "until")
    need_text(guardian.guardian_name, "guardian_name", _("A guardian's name is needed."))
    if not guardian.guardian_phone and not guardian.guardian_email:
        raise NotPossible(_("Give the guardian's telephone or e-mail address."), "guardian_phone")
    rows = Minor.objects.of_group(membership.group)
    saved, _new = rows.update_or_create(membership=membership, defaults=asdict(guardian))
    if membership.show_name:
        membership.show_name = False
        membership.save(update_fields=["show_name"])
    # Neither the guardian's contact nor a birthday goes into a trail that keeps them for ever.
    record_change(actor=person, verb="membership.guardian", thing=membership)
    return saved


@transaction.atomic
def clear_guardian(*, person: Person, membership: Membership) -> None:
    """Take the flag away again, because it was a mistake."""
    require(person, "people.manage", membership)
    Minor.objects.of_group(membership.group).filter(membership=membership).delete()
    record_change(actor=person, verb="membership.guardian_cleared", thing=membership)


def require_adult(membership: Membership) -> None:
    """Raises ValidationError for a member under 18, who is not named in public."""
    if is_minor(membership, timezone.localdate()):
        raise ValidationError(_("Until you are 18 your name is printed nowhere in public."))


@transaction.atomic
def set_emergency_contact(
    *, person: Person, membership: Membership, name: str, phone: str, relation: str = ""
) -> EmergencyContact:
    """Keep whom to ring if something happens to oneself."""
    _require_own(person, membership)
    words = {
        "name": need_text(name, "name", _("A name is needed.")),
        "phone": need_text(phone, "phone", _("A telephone number is needed.")),
        "relation": relation.strip(),
    }
    rows = EmergencyContact.objects.of_group(membership.group)
    saved, _new = rows.update_or_create(membership=membership, defaults=words)
    record_change(actor=person, verb="membership.emergency_contact", thing=membership)
    return saved


@transaction.atomic
def erase_emergency_contact(*, person: Person, membership: Membership) -> None:
    """Keep it no longer."""
    _require_own(person, membership)
    EmergencyContact.objects.of_group(membership.group).filter(membership=membership).delete()
    record_change(actor=person, verb="membership.emergency_contact_erased", thing=membership)


def _require_own(person: Person, membership: Membership) -> None:
    require(person, "desk.view", membership)
    if membership.user_id != person.user_id:
        raise ValueError("People write this of themselves alone.")


@transaction.atomic
def add_hours(
    *,
    person: Person,
    membership: Membership,
    number: UUID,
    day: date,
    work: str,
    hours: Decimal,
    note: str = "",
) -> OtherHours:
    """Write down hours given beside visits; the same number sent twice is one entry."""
    _require_own(person, membership)
    if day > timezone.localdate():
        raise NotPossible(_("This day is still to come."), "day")
    with wide("a number made by a form may be anybody's"):
        known = OtherHours.objects.across_groups("as anybody's").filter(pk=number).first()
    if known:
        if known.membership_id != membership.pk:
            raise Conflict
        return known
    made = OtherHours.objects.create(
        pk=number, membership=membership, day=day, work=work, hours=hours, note=note.strip()
    )
    record_change(
        actor=person,
        verb="membership.hours_added",
        thing=membership,
        changes={"hours": [None, f"{day}: {hours} h"]},
    )
    return made


@transaction.atomic
def remove_hours(*, person: Person, entry: OtherHours) -> None:
    """Take back an entry of one's own."""
    _require_own(person, entry.membership)
    words = f"{entry.day}: {entry.hours} h"
    record_change(
        actor=person, verb="membership.hours_removed", thing=entry.membership, changes={"hours": [words, None]}
    )
    entry.delete()


@transaction.atomic
def end_for_reason(*, person: Person, membership: Membership, reason: str) -> None:
    """A coordinator ends a membership and says why. Raises NotPossible."""
    require(person, "people.manage", membership)
    words = need_text(reason, "reason", _("Say why, in a few words."))
    _end(person, membership, words)


@transaction.atomic
def leave_group(*, person: Person, membership: Membership, reason: str = "") -> None:
    """Leave by oneself; a reason is welcome and not asked for. Raises NotPossible for the last coordinator."""
    _require_own(person, membership)
    _end(person, membership, reason.strip())


def _need_present(membership: Membership) -> None:
    if membership.left_at:
        raise NotPossible(_("This membership has ended already."))


def _end(person: Person, membership: Membership, reason: str) -> None:
    _need_present(membership)
    try:
        end_membership(person=person, membership=membership, reason=reason)
    except ValidationError as problem:
        raise NotPossible(" ".join(problem.messages)) from problem


@transaction.atomic
def ask_back(*, person: Person, membership: Membership, role: str) -> Invitation:
    """Invite somebody who left to come back; accepting it, they find their own records again."""
    require(person, "people.manage", membership)
    if membership.left_at is None:
        raise NotPossible(_("They belong to the group."))
    return invite_person(person=person, group=membership.group, email=membership.user.email, role=role)


def let_go(membership: Membership) -> None:
    """Somebody has left: whom to ring for them is nobody's business any more."""
    group = membership.group
    # Whoever comes back is asked again.
    Membership.objects.of_group(group).filter(pk=membership.pk).update(show_name=False)
    EmergencyContact.objects.of_group(group).filter(membership=membership).delete()
    Minor.objects.of_group(group).filter(membership=membership).update(
        guardian_name="", guardian_phone="", guardian_email=""
    )
