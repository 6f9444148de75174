"""Rehearsals: is the address list right, and does somebody read there?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.contacts.working_time import policy_of
from alerts.models import AgencyContact, Drill, SiteContact
from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group
from portal.accounts.signed_links import DeadLink, SignedLink
from portal.audit.services import record_change
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message

DRILL = SignedLink("alerts.drill-link", days=60)
# A second one within this time would only teach the reader to pay no heed.
PAUSE = timedelta(hours=12)


@dataclass(frozen=True)
class Readiness:
    """A contact and when a rehearsal or nobody has last shown that mail is read there."""

    contact: AgencyContact
    answered_at: datetime | None
    is_overdue: bool


@transaction.atomic
def send_drill(*, person: Person, contact: AgencyContact) -> Drill:
    """Owe a contact a message that is marked as a rehearsal and acknowledged like an alert.

    Raises ValidationError for a contact out of service, or one who had a rehearsal in the last 12 hours.
    """
    require(person, "contact.manage", contact)
    if not contact.is_active:
        raise ValidationError(_("This contact is out of service: nothing is sent."))
    rows = AgencyContact.objects.filter(group=contact.group_id).select_related("group")
    contact = rows.select_for_update(of=("self",), no_key=True).get(pk=contact.pk)
    if contact.drills.filter(sent_at__gt=timezone.now() - PAUSE).exists():
        raise ValidationError(_("This contact had a rehearsal in the last 12 hours."))
    drill = Drill.objects.create(group_id=contact.group_id, contact=contact, sent_by_id=person.user_id)
    record_change(actor=person, verb="drill.sent", thing=drill, changes={"contact": [None, contact.name]})
    context = {"group": contact.group, "contact": contact, "sender": person.name}
    with speaking_to(group=contact.group, own=contact.language):
        subject, text, html = render_mail("alerts/mail/drill", {**context, "drill_url": drill_url(drill)})
    owe_message(
        key=f"drill:{drill.pk}",
        kind="contact.drill",
        to_address=contact.email,
        to_name=contact.name,
        subject=subject,
        text=text,
        html=html,
        group=contact.group,
        about=drill,
    )
    return drill


def drill_url(drill: Drill) -> str:
    """The whole address by which the contact answers."""
    return DRILL.address("drill_page", drill.pk)


def read_token(token: str) -> Drill:
    """The rehearsal a token stands for; raises Http404 for one we never made, DeadLink after 60 days."""
    rows = Drill.objects.across_groups("the signature names the rehearsal")
    found = rows.select_related("contact", "group").filter(contact__is_active=True)
    drill = found.filter(pk=DRILL.read_id(token)).first()
    if drill is None:
        raise DeadLink
    return drill


@transaction.atomic
def acknowledge_drill(*, drill: Drill) -> Drill:
    """Note that the contact has answered; asked twice, the first answer stands."""
    rows = Drill.objects.filter(group=drill.group_id).select_related("contact")
    drill = rows.select_for_update(of=("self",), no_key=True).get(pk=drill.pk)
    if drill.acknowledged_at is None:
        drill.acknowledged_at = timezone.now()
        drill.save(update_fields=["acknowledged_at"])
        who = _("by link sent to %(name)s") % {"name": drill.contact.name}
        record_change(actor=None, actor_name=who, verb="drill.acknowledged", thing=drill)
    return drill


def on_drill_failed(message: Message, answer: str) -> None:
    """The address of a rehearsal does not exist: that is what it was for."""
    if message.about_type != Drill._meta.label_lower or message.about_id is None:
        return
    rows = Drill.objects.across_groups("the outbox names the rehearsal")
    for drill in rows.filter(pk=message.about_id).select_for_update(no_key=True):
        drill.failure = answer
        drill.save(update_fields=["failure"])


def readiness_of(group: Group) -> Sequence[Readiness]:
    """Every contact in service who is named for a site, with the last answer to a rehearsal (two queries)."""
    limit = timezone.now() - timedelta(days=policy_of(group).drill_days)
    return [
        Readiness(each, each.answered_at, each.answered_at is None or each.answered_at < limit)
        for each in _in_service(group)
    ]


def _in_service(group: Group) -> QuerySet[Any]:
    named = SiteContact.objects.of_group(group).values("contact")
    rows = AgencyContact.objects.of_group(group).filter(is_active=True, pk__in=named)
    moments = {"answered_at": Max("drills__acknowledged_at"), "last_sent_at": Max("drills__sent_at")}
    return rows.annotate(**moments).order_by("name")


def contacts_to_rehearse(group: Group, limit: datetime) -> QuerySet[Any]:
    """Contacts whose address has not been shown to work since `limit`, with the time of the last rehearsal."""
    return _in_service(group).filter(Q(answered_at=None) | Q(answered_at__lt=limit))
