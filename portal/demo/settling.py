"""Founds the demo's groups by the same services that people use: people, contacts, sites."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from django.contrib.auth.hashers import make_password

from alerts.models import AgencyContact
from alerts.services.contacts import name_site_contacts, save_contact
from portal.accounts.access import Person
from portal.accounts.addresses import prove_address
from portal.accounts.models import Group, Invitation, Membership, User
from portal.accounts.queries import person_of
from portal.accounts.services import (
    accept_invitation,
    choose_naming,
    create_group,
    edit_group,
    invite_person,
)
from portal.demo.world import INVENTED, PASSWORD, ContactPlan, GroupPlan, PersonPlan, SitePlan
from surveys.models import Kit, Site
from surveys.places.locations import grid_reference
from surveys.services.built_in_lists import ensure_family_list
from surveys.services.sites import save_site


@dataclass
class Settlement:
    """A founded group with what the visits need."""

    plan: GroupPlan
    group: Group
    sites: dict[str, Site] = field(default_factory=dict)
    contacts: list[AgencyContact] = field(default_factory=list)
    kits: dict[str, Kit] = field(default_factory=dict)

    # Kept, because a replay of years asks for them thousands of times; ask only once all groups are founded.
    @cached_property
    def coordinators(self) -> list[Person]:
        return [person_named(each) for each in self.plan.coordinators]

    @cached_property
    def volunteers(self) -> list[Person]:
        return [person_named(each) for each in self.plan.people if each not in self.plan.coordinators]


def person_named(plan: PersonPlan) -> Person:
    """The acting person with the roles held now."""
    return person_of(User.objects.get(email=plan.email))


def open_accounts(plans: Iterable[PersonPlan | ContactPlan], *, staff: bool = False) -> None:
    """Accounts with the one demo password; somebody in two groups has one account."""
    # Hashing is slow by design, and all share the password.
    password = make_password(PASSWORD)
    wanted = {each.email: each for each in plans}
    known = set(User.objects.filter(email__in=wanted).values_list("email", flat=True))
    for email, plan in wanted.items():
        if email not in known:
            said = {"name": plan.name, "phone": plan.phone, "password": password, "is_staff": staff}
            prove_address(User.objects.create(email=email, **said))


def found_group(plan: GroupPlan, operator: User, opened_on: date) -> Settlement:
    """Make the group with its people, agency contacts and sites."""
    first, *others = plan.coordinators
    group = create_group(name=plan.name, slug=plan.slug, operator=operator, coordinator_email=first.email)
    _join(group, first)
    founder = person_named(first)
    for each in [*others, *(each for each in plan.people if each not in plan.coordinators)]:
        invite_person(person=founder, group=group, email=each.email, role=each.role)
        _join(group, each)
    settings = {"about": plan.about, "is_public": plan.is_public, "hold_hours": plan.hold_hours}
    settlement = Settlement(
        plan, edit_group(person=founder, group=group, fields={"name": plan.name, **settings})
    )
    _name_contacts(settlement, founder)
    _open_sites(settlement, founder, opened_on)
    return settlement


def _join(group: Group, plan: PersonPlan) -> None:
    user = User.objects.get(email=plan.email)
    invitation = Invitation.objects.of_group(group).get(email=plan.email, accepted_at=None)
    membership = accept_invitation(invitation=invitation, user=user)
    if plan.show_name:
        choose_naming(person=person_of(user), membership=_fresh(membership), show_name=True)


def _fresh(membership: Membership) -> Membership:
    return Membership.objects.of_group(membership.group).get(pk=membership.pk)


def _name_contacts(settlement: Settlement, founder: Person) -> None:
    for each in settlement.plan.contacts:
        fields = {
            "name": each.name,
            "organisation": each.organisation,
            "email": each.email,
            "phone": each.phone,
            "duty_line": "01632 960 100",
        }
        settlement.contacts.append(save_contact(person=founder, group=settlement.group, fields=fields))


def _open_sites(settlement: Settlement, founder: Person, opened_on: date) -> None:
    # From the mouth upwards, because each names the next one downstream.
    for plan in reversed(settlement.plan.sites):
        fields = _site_fields(plan, settlement, opened_on)
        site = save_site(person=founder, group=settlement.group, site=None, fields=fields)
        name_site_contacts(person=founder, site=site, contacts=settlement.contacts)
        settlement.sites[plan.code] = site


def _site_fields(plan: SitePlan, settlement: Settlement, opened_on: date) -> dict[str, object]:
    return {
        "code": plan.code,
        "name": plan.name,
        "river": plan.river,
        "latitude": plan.latitude,
        "longitude": plan.longitude,
        "location_as_typed": grid_reference(plan.latitude, plan.longitude) or "",
        "location_precision_m": 10,
        "downstream": settlement.sites.get(plan.downstream),
        "recording_list": ensure_family_list(),
        "visit_interval_days": 30,
        "hazards": "Slippery stones; the water rises quickly after rain in the hills.",
        "access_notes": f"{INVENTED} Park at the lay-by, through the gate, close it behind you.",
        "level_limit": "The gravel bar at the way in is under water.",
        "landowner": "The invented Quillet Estate",
        "permission_conditions": "On foot only; not during lambing.",
        "permission_from": opened_on,
        "opened_on": opened_on,
    }
