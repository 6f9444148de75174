"""Signed links: a contact without an account reads and answers an alert by the address in the mail.

A link names one incident and one contact. It dies after 60 days, when the contact leaves service or is no
longer named for the site, or when the incident's links are renewed. The link of a colleague to whom the contact
passed the alert on names them as well, and dies too when a coordinator takes it back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from alerts.models import AgencyContact, Forward, Incident, SiteContact
from portal.accounts.signed_links import DeadLink, SignedLink
from surveys.outings.rivers import with_high_until

ALERT = SignedLink("alerts.incident-link", days=60)


@dataclass(frozen=True)
class Link:
    """What a good token opens; `forward` where it was passed on, and its holder is not the contact."""

    incident: Incident
    contact: AgencyContact
    forward: Forward | None = None

    @property
    def group_id(self) -> UUID:
        return self.incident.group_id

    @property
    def reader(self) -> str:
        """The name of whoever holds it."""
        return self.forward.to_name if self.forward else self.contact.name


def make_token(incident: Incident, contact: AgencyContact) -> str:
    """The token that lets this contact read and answer this incident."""
    return ALERT.make(incident.id, contact.id, incident.link_version)


def make_forward_token(forward: Forward) -> str:
    """The token of a colleague to whom the contact passed the alert on."""
    return ALERT.make(forward.incident_id, forward.contact_id, forward.incident.link_version, forward.id)


def alert_url(incident: Incident, contact: AgencyContact) -> str:
    """The whole address for the mail."""
    return settings.BASE_URL + reverse("alert_page", args=[make_token(incident, contact)])


def forward_url(forward: Forward) -> str:
    """The whole address for the colleague's mail."""
    return settings.BASE_URL + reverse("alert_page", args=[make_forward_token(forward)])


def read_token(token: str) -> Link:
    """Open a token; raises Http404 for one we never made and DeadLink for one that no longer works."""
    incident_id, contact_id, version, *passed_on = ALERT.read(token)
    link = _find(UUID(incident_id), UUID(contact_id))
    if link is None or link.incident.link_version != int(version):
        raise DeadLink
    return replace(link, forward=_find_forward(link, UUID(passed_on[0]))) if passed_on else link


def _find(incident_id: UUID, contact_id: UUID) -> Link | None:
    incidents = Incident.objects.across_groups("the signature names the incident")
    known = with_high_until(incidents.select_related("site", "group"), timezone.now(), site="site")
    incident: Incident | None = known.filter(id=incident_id).first()
    if incident is None:
        return None
    named = SiteContact.objects.of_group(incident.group).filter(
        site=incident.site_id, contact_id=contact_id, contact__is_active=True
    )
    contact = named.select_related("contact").first()
    return Link(incident, contact.contact) if contact else None


def _find_forward(link: Link, forward_id: UUID) -> Forward:
    """Raises DeadLink for one that was taken back."""
    rows = Forward.objects.of_group(link.incident.group).filter(incident=link.incident, revoked_at=None)
    forward = rows.select_related("contact", "incident__group").filter(id=forward_id).first()
    if forward is None:
        raise DeadLink
    return forward
