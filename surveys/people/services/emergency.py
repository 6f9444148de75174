"""Whom to ring for those who are out: shown while it is needed, each look written down and told."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.accounts.models import Membership
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.models import AuditEntry
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.models import SafeReturn
from surveys.people.mail import Letter, page_address, send_letter
from surveys.people.models import EmergencyContact, Minor
from surveys.people.queries import LOOKED


@dataclass(frozen=True)
class ToRing:
    """Whom to ring for one of those who went; a guardian where they are under 18."""

    membership: Membership
    contact: EmergencyContact | None
    guardian: Minor | None


@transaction.atomic
def look_at_contacts(*, person: Person, safe_return: SafeReturn) -> list[ToRing]:
    """Show whom to ring for those who went; raises NotPossible once the return has ended.

    Each look is written to the audit trail of whoever was looked up, and told to them by e-mail.
    """
    require(person, "emergency.look", safe_return)
    # Whoever ends it at this moment comes first or waits until the look is written down.
    now = SafeReturn.objects.of_group(safe_return.group).select_for_update().get(pk=safe_return.pk)
    if not now.is_live:
        raise NotPossible(_("This safe return has ended, so that nobody need be rung."))
    found = _to_ring(safe_return)
    for each in found:
        if each.membership.user_id != person.user_id and (each.contact or each.guardian):
            _tell(person, safe_return, each.membership)
    return found


def _to_ring(safe_return: SafeReturn) -> list[ToRing]:
    group = safe_return.group
    members = Membership.objects.of_group(group).filter(user__in=safe_return.pair_ids).select_related("user")
    today = timezone.localdate()
    contacts = {each.membership_id: each for each in EmergencyContact.objects.of_group(group)}
    guardians = {
        each.membership_id: each
        for each in Minor.objects.of_group(group).filter(until__gt=today).exclude(guardian_name="")
    }
    return [
        ToRing(each, contacts.get(each.pk), guardians.get(each.pk)) for each in members.order_by("user__name")
    ]


def _tell(person: Person, safe_return: SafeReturn, membership: Membership) -> None:
    entry = record_change(
        actor=person,
        verb=LOOKED,
        thing=membership,
        changes={"safe_return": [None, str(safe_return.pk)]},
    )
    user = membership.user
    with speaking_to(user, safe_return.group):
        send_letter(
            group=safe_return.group,
            key=f"emergency-look:{entry.pk}",
            kind="emergency.look",
            to=(user.name, user.email),
            about=safe_return,
            letter=_letter(person, safe_return),
        )


def _letter(person: Person, safe_return: SafeReturn) -> Letter:
    words = {"name": person.name, "site": safe_return.site}
    return Letter(
        headline=_("Your emergency contact was looked at"),
        lines=[
            _("%(name)s looked at whom to ring for you, while your safe return from %(site)s was running.")
            % words,
            _("It can be seen only while a safe return runs, by who goes with you and by the coordinators."),
        ],
        url=page_address("own_record", safe_return.group),
        button=_("Who looked, and when"),
    )


def looks_at(membership: Membership) -> GroupOwnedQuerySet[AuditEntry]:
    """Who looked at the member's emergency contact, and when; the latest first."""
    rows = AuditEntry.objects.of_group(membership.group).filter(verb=LOOKED, object_id=membership.pk)
    return rows.order_by("-at")
