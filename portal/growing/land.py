"""The invented groups: people, agency contacts, sites and triggers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from functools import cached_property
from uuid import UUID

import numpy as np
import numpy.typing as npt
from allauth.account.models import EmailAddress
from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db import models

from alerts.models import AgencyContact, SiteContact, Trigger
from portal.accounts.models import Group, Membership, Role, User
from portal.growing.catches import usual_level
from portal.growing.extent import Extent, numbers
from portal.growing.tables import copy_whole
from surveys.models import Site
from surveys.services.built_in_lists import ensure_family_list

COORDINATORS, VOLUNTEERS = 2, 10
PEOPLE = COORDINATORS + VOLUNTEERS
# A trigger is set when half a year has shown what is usual.
TRIGGER_AFTER = timedelta(days=183)
INDEX = "aspt"
TABLES: tuple[type[models.Model], ...] = (
    *(Group, User, EmailAddress, Membership, AgencyContact, Site, SiteContact, Trigger),
)

# All invented, and put together by number.
FIRST = (
    "Abel",
    "Brin",
    "Cass",
    "Delphi",
    "Edda",
    "Fenn",
    "Greta",
    "Hob",
    "Ione",
    "Jory",
    "Kit",
    "Lorn",
    "Mabel",
)
LAST = (
    "Ashby",
    "Brook",
    "Carr",
    "Dell",
    "Elder",
    "Ford",
    "Gill",
    "Hythe",
    "Ings",
    "Keld",
    "Lune",
    "Mere",
    "Nab",
)
STEMS = (
    "Thrap",
    "Quil",
    "Fenno",
    "Marl",
    "Withy",
    "Osier",
    "Hazel",
    "Brindle",
    "Cobble",
    "Dapple",
    "Lark",
    "Moss",
)
WATERS = ("Beck", "Brook", "Water", "Burn", "Bourne")
PLACES = (
    "stepping stones",
    "mill riffle",
    "below the weir",
    "school meadow",
    "ford",
    "two waters",
    "alder bend",
)


@dataclass
class Land:
    """What the visits need to know of all sites, numbered through all groups, and of their people.

    `sound` counts, while visits are drawn, how many at each site can be compared with the next one.
    """

    extent: Extent
    groups: list[Group]
    people: list[list[User]]
    contacts: list[AgencyContact]
    sites: list[Site]
    triggers: list[Trigger]
    reaches: npt.NDArray[np.intp]
    sound: npt.NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    def group_of(self, site: int) -> int:
        """The place of a site's group."""
        return site // self.extent.sites

    # As text, because each stands in a hundred rows.
    @cached_property
    def site_ids(self) -> list[str]:
        return [str(each.pk) for each in self.sites]

    @cached_property
    def group_ids(self) -> list[str]:
        return [str(each.pk) for each in self.groups]

    @cached_property
    def person_ids(self) -> list[list[str]]:
        return [[str(each.pk) for each in people] for people in self.people]


def settle(extent: Extent) -> Land:
    """Found the groups and write them, their people, contacts, sites and triggers."""
    groups = list(_groups(extent))
    people = [list(_people(extent, place)) for place in range(extent.groups)]
    contacts = list(_contacts(extent, groups))
    reaches = np.arange(extent.groups * extent.sites) % extent.sites * 3 // extent.sites
    sites = list(_sites(extent, groups))
    triggers = list(_triggers(extent, sites, people, reaches))
    sound = np.zeros(len(sites), dtype=np.intp)
    land = Land(extent, groups, people, contacts, sites, triggers, reaches, sound)
    for rows in _rows(land):
        copy_whole(rows)
    return land


def moment(extent: Extent) -> datetime:
    """When the groups were founded."""
    return datetime.combine(extent.begins, time(19), UTC)


def _rows(land: Land) -> Iterator[Sequence[models.Model]]:
    users = [each for people in land.people for each in people]
    yield land.groups
    yield users
    yield [EmailAddress(user=each, email=each.email, verified=True, primary=True) for each in users]
    yield list(_memberships(land))
    yield land.contacts
    # The next site downstream comes first, so that it is there when it is named.
    yield land.sites[::-1]
    yield list(_site_contacts(land))
    yield land.triggers


def _groups(extent: Extent) -> Iterator[Group]:
    ids = numbers(extent.chance(1), extent.groups)
    for number, key in enumerate(ids, start=extent.first):
        name = f"{_stem(number)} {WATERS[number % len(WATERS)]} Watch {number}"
        yield Group(
            pk=UUID(key),
            slug=f"grown-{number}",
            name=name,
            about="An invented group, grown to measure on.",
            is_public=number % 2 == 1,
            created_at=moment(extent),
        )


def _stem(number: int) -> str:
    return STEMS[number % len(STEMS)]


def _people(extent: Extent, place: int) -> Iterator[User]:
    number = extent.first + place
    for turn, key in enumerate(numbers(extent.chance(2, place), PEOPLE)):
        name = f"{FIRST[(number + turn) % len(FIRST)]} {LAST[(number * 5 + turn * 3) % len(LAST)]}"
        # Nobody can sign in with a password.
        yield User(
            pk=UUID(key),
            email=f"p{turn}.g{number}@grown.example",
            name=name,
            password=UNUSABLE_PASSWORD_PREFIX,
            date_joined=moment(extent),
        )


def _memberships(land: Land) -> Iterator[Membership]:
    for place, (group, people) in enumerate(zip(land.groups, land.people, strict=True)):
        ids = numbers(land.extent.chance(3, place), PEOPLE)
        for turn, (user, key) in enumerate(zip(people, ids, strict=True)):
            role = Role.COORDINATOR if turn < COORDINATORS else Role.VOLUNTEER
            yield Membership(
                pk=UUID(key),
                group=group,
                user=user,
                role=role,
                show_name=turn % 2 == 0,
                joined_at=moment(land.extent),
            )


def _contacts(extent: Extent, groups: Sequence[Group]) -> Iterator[AgencyContact]:
    for group, key in zip(groups, numbers(extent.chance(4), len(groups)), strict=True):
        yield AgencyContact(
            pk=UUID(key),
            group=group,
            name="Petra Stroud",
            organisation="Vale Water Regulator",
            email=f"duty.{group.slug}@vale-water.example",
            phone="01632 960 101",
            duty_line="01632 960 100",
            created_at=moment(extent),
        )


def _sites(extent: Extent, groups: Sequence[Group]) -> Iterator[Site]:
    ids = numbers(extent.chance(5), extent.groups * extent.sites)
    recording_list = ensure_family_list()
    for at, key in enumerate(ids):
        place, turn = divmod(at, extent.sites)
        number = extent.first + place
        is_last = turn == extent.sites - 1
        yield Site(
            pk=UUID(key),
            group=groups[place],
            code=f"G{number}-{turn + 1}",
            name=f"{_stem(number + turn)} {PLACES[turn % len(PLACES)]}",
            river=f"{_stem(number)} {WATERS[number % len(WATERS)]}",
            # A grid of valleys, each a few kilometres long.
            latitude=51.5 + number // 40 % 100 * 0.05 - turn * 0.003,
            longitude=-3.5 + number % 40 * 0.05 + turn * 0.002,
            downstream_id=None if is_last else UUID(ids[at + 1]),
            recording_list=recording_list,
            hazards="Slippery stones; the water rises quickly after rain.",
            access_notes="This site is invented: do not go there.",
            opened_on=extent.begins,
            created_at=moment(extent),
        )


def _site_contacts(land: Land) -> Iterator[SiteContact]:
    ids = numbers(land.extent.chance(6), len(land.sites))
    for at, (site, key) in enumerate(zip(land.sites, ids, strict=True)):
        yield SiteContact(pk=UUID(key), site=site, contact=land.contacts[land.group_of(at)])


def _triggers(
    extent: Extent, sites: Sequence[Site], people: Sequence[Sequence[User]], reaches: npt.NDArray[np.intp]
) -> Iterator[Trigger]:
    levels = [usual_level(extent.chance(7, reach), reach) for reach in range(3)]
    for at, (site, key) in enumerate(zip(sites, numbers(extent.chance(8), len(sites)), strict=True)):
        set_on = extent.round_begins(0) + TRIGGER_AFTER
        yield Trigger(
            pk=UUID(key),
            group_id=site.group_id,
            site=site,
            index=INDEX,
            level=levels[reaches[at]],
            valid_from=set_on,
            set_by=people[at // extent.sites][0],
            reason="Well below all that half a year has shown.",
            created_at=datetime.combine(set_on, time(20), UTC),
        )
