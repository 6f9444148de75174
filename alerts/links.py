"""Signed links: a contact without an account reads and answers an alert by the address in the mail.

A link names one incident and one contact. It dies after 60 days, when the contact leaves service or is no
longer named for the site, or when the incident's links are renewed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, SignatureExpired, TimestampSigner
from django.http import Http404
from django.urls import reverse

from alerts.models import AgencyContact, Incident, SiteContact

SALT = "alerts.incident-link"
MAX_AGE = timedelta(days=60)


class DeadLink(Exception):
    """A link of ours that no longer works."""


@dataclass(frozen=True)
class Link:
    """What a good token opens."""

    incident: Incident
    contact: AgencyContact


def make_token(incident: Incident, contact: AgencyContact) -> str:
    """The token that lets this contact read and answer this incident."""
    return TimestampSigner(salt=SALT).sign(f"{incident.id.hex}.{contact.id.hex}.{incident.link_version}")


def alert_url(incident: Incident, contact: AgencyContact) -> str:
    """The whole address for the mail."""
    return settings.BASE_URL + reverse("alert_page", args=[make_token(incident, contact)])


def read_token(token: str) -> Link:
    """Open a token; raises Http404 for one we never made and DeadLink for one that no longer works."""
    try:
        content = TimestampSigner(salt=SALT).unsign(token, max_age=MAX_AGE)
    except SignatureExpired as late:
        raise DeadLink from late
    except BadSignature as forged:
        raise Http404 from forged
    incident_id, contact_id, version = content.split(".")
    link = _find(UUID(incident_id), UUID(contact_id))
    if link is None or link.incident.link_version != int(version):
        raise DeadLink
    return link


def _find(incident_id: UUID, contact_id: UUID) -> Link | None:
    incidents = Incident.objects.across_groups("the signature names the incident")
    incident = incidents.select_related("site", "group").filter(id=incident_id).first()
    if incident is None:
        return None
    named = SiteContact.objects.of_group(incident.group).filter(
        site=incident.site_id, contact_id=contact_id, contact__is_active=True
    )
    contact = named.select_related("contact").first()
    return Link(incident, contact.contact) if contact else None
