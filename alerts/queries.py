"""Reading triggers, contacts and incidents."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from alerts.models import (
    LIVE_STATES,
    AgencyContact,
    Incident,
    IncidentState,
    QuietPeriod,
    SiteContact,
    Trigger,
)
from portal.accounts.addresses import proven_addresses
from portal.accounts.models import Role
from portal.accounts.prepared import planned
from portal.accounts.queries import members_of
from portal.audit.versions import with_version
from surveys.models import Site
from surveys.queries import HistoryPoint

if TYPE_CHECKING:
    from portal.accounts.access import Person
    from portal.accounts.models import Group, User
    from portal.accounts.scoping import GroupOwnedQuerySet


def triggers_of(site: Site) -> GroupOwnedQuerySet[Trigger]:
    """All triggers a site has had, in the order in which they came into force."""
    found = Trigger.objects.filter(group=site.group_id, site=site)
    return found.select_related("set_by").order_by("valid_from", "created_at")


def list_of_triggers(site: Site) -> list[Trigger]:
    """The same, read, each `with_version` of its group and without who set it."""
    return _triggers(site.group_id, site.pk)


@planned
def _triggers(group: UUID, site: UUID) -> QuerySet[Trigger]:
    found = Trigger.objects.filter(group=group, site=site)
    return with_version(found.order_by("valid_from", "created_at"), "group_id")


def trigger_in_force(site: Site, day: date) -> Trigger | None:
    """The trigger that a visit of that day is held against: the last one to have come into force by then."""
    found = _in_force(site.group_id, site.pk, day)
    return found[0] if found else None


@planned
def _in_force(group: UUID, site: UUID, day: date) -> QuerySet[Trigger]:
    rows = Trigger.objects.filter(group=group, site=site, valid_from__lte=day).select_related("set_by")
    return rows.order_by("-valid_from", "-created_at")[:1]


def site_contacts_of(site: Site) -> GroupOwnedQuerySet[SiteContact]:
    """The contacts named for a site who are in service, first to be told first."""
    named = SiteContact.objects.of_group(site.group).filter(site=site, contact__is_active=True)
    return named.select_related("contact").order_by("order", "id")


def contacts_of(group: Group) -> GroupOwnedQuerySet[AgencyContact]:
    """Everybody at agencies whom the group has named, with their sites."""
    return AgencyContact.objects.of_group(group).prefetch_related("sites__site")


def live_incidents(group: Group) -> GroupOwnedQuerySet[Incident]:
    """Incidents that are not over, newest first."""
    return incidents_of(group).filter(state__in=LIVE_STATES)


def incidents_of(group: Group) -> GroupOwnedQuerySet[Incident]:
    """All incidents of a group, newest first."""
    return Incident.objects.of_group(group).select_related("site", "own_outcome").order_by("-opened_at")


def incidents_for_contact(person: Person) -> GroupOwnedQuerySet[Incident]:
    """Incidents at the sites for which the person is a named contact in service, of whichever group."""
    addresses = proven_addresses(person.user_id) if person.user_id else []
    served = SiteContact.objects.across_groups("a contact may serve several groups")
    named = served.filter(contact__address__in=addresses, contact__is_active=True)
    found = Incident.objects.across_groups("narrowed to the contact's own sites")
    # A held alert has not left the group yet.
    told = found.exclude(state=IncidentState.HELD).filter(site__in=named.values("site"), contacts_told__gt=0)
    return told.select_related("site", "group", "own_outcome").order_by("-opened_at")


def contact_of_person(site: Site, person: Person) -> AgencyContact:
    """The contact in service named for a site who the person is by an address proven as their own.

    Raises AgencyContact.DoesNotExist for everybody else.
    """
    addresses = proven_addresses(person.user_id) if person.user_id else []
    named = AgencyContact.objects.of_group(site.group).filter(sites__site=site, is_active=True)
    return named.filter(address__in=addresses).order_by("sites__order")[:1].get()


def values_of(points: Sequence[HistoryPoint]) -> list[float]:
    """Their scores, in the unit of the index."""
    return [each.value for each in points if each.value is not None]


def quiet_now(site: Site) -> QuietPeriod | None:
    """The time of quiet in which a site is at this moment."""
    found = _quiet(site.group_id, site.pk, timezone.now())
    return found[0] if found else None


@planned
def _quiet(group: UUID, site: UUID, now: datetime) -> GroupOwnedQuerySet[QuietPeriod]:
    found = QuietPeriod.objects.filter(group=group, site=site, starts_at__lte=now, ends_at__gt=now)
    return found.select_related("set_by")[:1]


def who_to_call(group: Group) -> User | None:
    """The one coordinator whose name and number go to the agency: the first by name who gave a number."""
    coordinators = [each.user for each in members_of(group) if each.role == Role.COORDINATOR]
    return next((each for each in coordinators if each.phone), coordinators[0] if coordinators else None)
