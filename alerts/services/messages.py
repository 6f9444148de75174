"""What an incident's e-mails say: built here, owed to the outbox in the caller's transaction."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.translation import ngettext

from alerts.contacts.links import alert_url
from alerts.evidence.of_visit import evidence_of
from alerts.evidence.picture import INCIDENT, picture_arguments
from alerts.judging.verdicts import reason_words
from alerts.models import AgencyContact, Incident, IncidentEvent, SiteContact, Verdict
from alerts.queries import who_to_call
from alerts.services.wording import HEADLINES, WITH_EVIDENCE, lines_of, low_visit_words
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, User
from portal.outbox.models import Message
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from surveys.models import Visit
from surveys.queries import photos_of

Reader = AgencyContact | User


def owe_incident_mail(
    incident: Incident,
    visit: Visit,
    step: IncidentEvent,
    *,
    to: Reader,
    earlier: Sequence[Visit] = (),
    not_before: datetime | None = None,
    again: str = "",
) -> Message:
    """Owe one reader the mail about one step; the same step is never owed twice to the same address.

    `earlier` are further low visits that the mail tells of too. `again` names the reason to write of a step for
    a second time, after the first message was withdrawn.
    """
    verdict = Verdict.objects.filter(group=incident.group_id).select_related("trigger").get(visit=visit)
    with speaking_to_reader(to, incident.group):
        evidence = evidence_of(visit, verdict) if step.kind in WITH_EVIDENCE else None
        context = _context(incident, visit, step, to)
        context |= {"evidence": evidence, "verdict": verdict, "lines": lines_of(incident, visit, verdict, step)}
        context["photos"] = photo_words(visit) if evidence else ""
        context["earlier"] = [low_visit_words(each) for each in earlier]
        subject, text, html = render_mail(f"alerts/mail/{'alert' if evidence else 'notice'}", context)
        picture = picture_arguments(evidence) if evidence else None
    return owe_message(
        key=f"incident:{step.id}:{to.email}" + (f":{again}" if again else ""),
        kind=kind_of_mail(step, to),
        to_address=to.email,
        to_name=to.name,
        subject=subject,
        text=text,
        html=html,
        group=incident.group,
        reply_to=context["answers_to"],
        about=incident,
        picture_maker=INCIDENT if evidence else "",
        picture_args=picture,
        not_before=not_before,
    )


def photo_words(visit: Visit) -> str:
    """How many photos there are to look at by now: most come when the phone has sent the visit."""
    number = photos_of(visit).count()
    if not number:
        return ""
    words = ngettext(
        "%(number)s photo of the visit is on the incident's page.",
        "%(number)s photos of the visit are on the incident's page.",
        number,
    )
    return words % {"number": number}


def speaking_to_reader(to: Reader, group: Group) -> AbstractContextManager[None]:
    """All texts made inside are in the language of the contact or coordinator."""
    if isinstance(to, AgencyContact):
        return speaking_to(group=group, own=to.language)
    return speaking_to(to, group)


def kind_of_mail(step: IncidentEvent, to: Reader) -> str:
    """The message's kind: who reads it and which step it tells of."""
    reader = "contact" if isinstance(to, AgencyContact) else "coordinator"
    return f"{reader}.{step.kind}"


def _context(incident: Incident, visit: Visit, step: IncidentEvent, to: Reader) -> dict[str, Any]:
    for_contact = isinstance(to, AgencyContact)
    caller = who_to_call(incident.group)
    return {
        "incident": incident,
        "visit": visit,
        "step": step,
        "kind": step.kind,
        "headline": HEADLINES[step.kind],
        "reader": to,
        "for_contact": for_contact,
        "duty_line": to.duty_line if isinstance(to, AgencyContact) else _duty_line(incident),
        # Nobody is told to ring themselves.
        "caller": None if caller == to else caller,
        "answers_to": caller.email if caller else "",
        "alert_url": alert_url(incident, to) if isinstance(to, AgencyContact) else "",
        "incident_url": settings.BASE_URL + reverse("incident_detail", args=[incident.id]),
        "review_url": settings.BASE_URL + reverse("visit_review", args=[incident.group.slug, visit.id]),
    }


def _duty_line(incident: Incident) -> str:
    named = SiteContact.objects.of_group(incident.group).filter(site=incident.site_id, contact__is_active=True)
    lines = named.exclude(contact__duty_line="").order_by("order").values_list("contact__duty_line", flat=True)
    return lines.first() or ""


def owe_pollution_mail(visit: Visit, verdict: Verdict, *, to: User) -> Message:
    """Tell a coordinator of signs of pollution at a visit that has not set off an alert."""
    with speaking_to(to, visit.group):
        context = {
            "visit": visit,
            "site": visit.site,
            "verdict": verdict,
            "reasons": reason_words(verdict.reasons),
            "reader": to,
            "visit_url": settings.BASE_URL + reverse("visit_detail", args=[visit.group.slug, visit.id]),
        }
        subject, text, html = render_mail("alerts/mail/pollution", context)
    return owe_message(
        key=f"pollution:{visit.id}:{to.email}",
        kind="coordinator.pollution",
        to_address=to.email,
        to_name=to.name,
        subject=subject,
        text=text,
        html=html,
        group=visit.group,
        about=visit,
    )
