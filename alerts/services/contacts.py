"""Naming agency contacts and the order in which a site's contacts are told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from alerts.models import AgencyContact, Incident, IncidentState, SiteContact
from alerts.services.opening import latest_visit
from alerts.services.telling import tell_next_contact, untold_contacts
from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.models import Site

FIELDS = ("name", "organisation", "email", "phone", "duty_line", "is_active")


@transaction.atomic
def save_contact(
    *, person: Person, group: Group, contact: AgencyContact | None = None, fields: Mapping[str, Any]
) -> AgencyContact:
    """Add or change a contact. Whoever has proven its address as their own acts for it when signed in."""
    require(person, "contact.manage", group)
    is_new = contact is None
    contact = contact or AgencyContact(group=group)
    before = {name: None if is_new else getattr(contact, name) for name in FIELDS}
    for name in FIELDS:
        setattr(contact, name, fields.get(name, getattr(contact, name)))
    contact.save()
    changes = {name: [before[name], getattr(contact, name)] for name in FIELDS}
    record_change(
        actor=person,
        verb="contact.created" if is_new else "contact.changed",
        thing=contact,
        changes={name: pair for name, pair in changes.items() if pair[0] != pair[1]},
    )
    return contact


@transaction.atomic
def name_site_contacts(*, person: Person, site: Site, contacts: Sequence[AgencyContact]) -> None:
    """Say who is told of a low score at a site, first to be told first.

    If an alert is out there that nobody could be told of, or that nobody who was told has answered, the next
    contact named is told now. Raises ValidationError for a contact of another group or one named twice.
    """
    require(person, "contact.manage", site)
    if any(each.group_id != site.group_id for each in contacts):
        raise ValidationError(_("A contact belongs to another group."))
    if len({each.pk for each in contacts}) < len(contacts):
        raise ValidationError(_("A contact is named twice."))
    rows = SiteContact.objects.of_group(site.group).filter(site=site)
    before = [each.contact.name for each in rows.select_related("contact").order_by("order")]
    rows.delete()
    SiteContact.objects.bulk_create(
        SiteContact(site=site, contact=each, order=order) for order, each in enumerate(contacts, start=1)
    )
    changes = {"contacts": [before, [each.name for each in contacts]]}
    record_change(actor=person, verb="site.contacts_named", thing=site, changes=changes)
    _tell_what_nobody_answers(site)


def _tell_what_nobody_answers(site: Site) -> None:
    """While somebody may still answer, the clock goes on to the next by itself."""
    waiting = Incident.objects.filter(group=site.group_id, site=site, state=IncidentState.OPEN)
    incident = waiting.filter(acknowledge_by=None).select_related("group", "site").first()
    if incident is not None and untold_contacts(incident):
        tell_next_contact(incident, latest_visit(incident))
