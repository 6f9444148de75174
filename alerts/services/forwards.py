"""Passing an alert on to a colleague at the agency, with a link of their own that the group can take back."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from alerts.contacts.links import forward_url
from alerts.judging.figures import told_apart
from alerts.models import AgencyContact, EventKind, Forward, Incident, IncidentState, Verdict
from alerts.queries import who_to_call
from alerts.services.events import add_event
from alerts.services.locks import locked_incident
from alerts.services.opening import latest_visit
from alerts.services.telling import tell_coordinators
from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.audit.services import record_change
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from scoring.indices.methods import METHODS

# So few that the portal is of no use for sending mail to strangers.
MOST_FORWARDS = 5
# A name that holds one of these is no name but an address that a mail program would make a link of.
NOT_IN_A_NAME = frozenset("/:@<>")


@transaction.atomic
def forward_alert(
    *, incident: Incident, contact: AgencyContact, to_name: str, to_email: str, person: Person | None = None
) -> Forward:
    """Pass the alert on; the coordinators hear of it and everybody sees it in the course.

    `person` is the contact's own account where they acted by it. Raises ValidationError at the field concerned:
    a name that is none, an address that has it already or from which it was taken back, more than five.
    """
    if person is not None:
        require(person, "incident.forward", incident)
    incident = locked_incident(incident)
    to_name, to_email = " ".join(to_name.split()), to_email.strip().lower()
    _check(incident, contact, to_name, to_email)
    forward, is_new = incident.forwards.get_or_create(
        to_email=to_email, defaults={"contact": contact, "to_name": to_name}
    )
    if not is_new:
        _check_again(forward)
    with speaking_to(group=incident.group):
        by = person.name if person else _("by link sent to %(name)s") % {"name": contact.name}
    changes = {"to_name": [None, forward.to_name], "to_email": [None, to_email]}
    record_change(actor=person, actor_name=by, verb="incident.forwarded", thing=incident, changes=changes)
    who: dict[str, Any] = {"person": person, "actor_name": by, "contact": contact}
    step = add_event(
        incident, EventKind.FORWARDED, **who, note=lambda: _("To %(name)s.") % {"name": forward.to_name}
    )
    _owe_forward(forward, incident)
    tell_coordinators(incident, latest_visit(incident), step)
    return forward


def _check(incident: Incident, contact: AgencyContact, to_name: str, to_email: str) -> None:
    if incident.state in (IncidentState.HELD, IncidentState.WITHDRAWN) or not incident.contacts_told:
        raise ValidationError(_("Only an alert that was sent, and not withdrawn, can be passed on."))
    if not to_name or NOT_IN_A_NAME & set(to_name):
        raise ValidationError({"to_name": _("Write the colleague's name only, without an address.")})
    if to_email == contact.email.lower():
        raise ValidationError({"to_email": _("This is the address that has the alert already.")})
    if incident.forwards.exclude(to_email=to_email).count() >= MOST_FORWARDS:
        words = _("An alert can be passed on to %(most)s colleagues at most. Ask the group to name a contact.")
        raise ValidationError(words % {"most": MOST_FORWARDS})


def _check_again(forward: Forward) -> None:
    """An address that had a link before gets another only where all links were renewed since."""
    if forward.revoked_at is not None:
        raise ValidationError({"to_email": _("The group has taken the link of this address back: ask them.")})
    owed = Message.objects.across_groups("a key is unique over the whole portal")
    if owed.filter(key=_key(forward, forward.incident)).exists():
        raise ValidationError({"to_email": _("The alert has been passed on to this address already.")})


def _key(forward: Forward, incident: Incident) -> str:
    return f"forward:{forward.id}:{incident.link_version}"


def _owe_forward(forward: Forward, incident: Incident) -> None:
    visit, caller = latest_visit(incident), who_to_call(incident.group)
    verdict = Verdict.objects.filter(group=incident.group_id).select_related("trigger").get(visit=visit)
    assert verdict.trigger is not None
    assert verdict.value is not None
    method = METHODS[verdict.trigger.index]
    score, trigger, _between = told_apart(verdict.value, verdict.trigger.level, method)
    context = {
        "forward": forward,
        "contact": forward.contact,
        "incident": incident,
        "site": incident.site,
        "visit": visit,
        "method": method.name,
        "score": score,
        "trigger": trigger,
        "caller": caller,
    }
    # A colleague of the contact, most likely of the same language.
    with speaking_to(group=incident.group, own=forward.contact.language):
        more = {"alert_url": forward_url(forward), "headline": _("An alert passed on to you")}
        subject, text, html = render_mail("alerts/mail/forward", context | more)
    owe_message(
        key=_key(forward, incident),
        kind="contact.forwarded",
        to_address=forward.to_email,
        to_name=forward.to_name,
        subject=subject,
        text=text,
        html=html,
        group=incident.group,
        reply_to=caller.email if caller else "",
        about=incident,
    )


@transaction.atomic
def revoke_forward(*, person: Person, forward: Forward) -> Forward:
    """Take one colleague's link back; taken back already, it stays so."""
    require(person, "contact.manage", forward.incident)
    incident = locked_incident(forward.incident)
    forward = Forward.objects.of_group(incident.group).get(pk=forward.pk)
    if forward.revoked_at is None:
        forward.revoked_at = timezone.now()
        forward.save(update_fields=["revoked_at"])
        changes = {"to_email": [forward.to_email, None]}
        record_change(actor=person, verb="incident.forward_revoked", thing=incident, changes=changes)
        words = {"name": forward.to_name}
        add_event(
            incident,
            EventKind.NOTE,
            person=person,
            note=lambda: _("The link of %(name)s was taken back.") % words,
        )
    return forward


def note_opened(forward: Forward) -> None:
    """Keep when the colleague's link was opened first (perhaps by a program that looks through their mail)."""
    rows = Forward.objects.of_group(forward.incident.group)
    rows.filter(pk=forward.pk, first_opened_at=None).update(first_opened_at=timezone.now())
