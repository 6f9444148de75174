"""The invented catchment holds together and harms nobody real."""

from __future__ import annotations

from portal.demo.stories import STORIES, UNPLANNED
from portal.demo.world import GROUPS, OPERATOR, ContactPlan, PersonPlan
from surveys.places.locations import grid_reference

PEOPLE: list[PersonPlan | ContactPlan] = [
    OPERATOR,
    *(each for group in GROUPS for each in group.people),
    *(each for group in GROUPS for each in group.contacts),
]
SITES = [(group, site) for group in GROUPS for site in group.sites]


def test_there_are_three_groups_and_more_than_a_dozen_sites() -> None:
    assert len({group.slug for group in GROUPS}) == 3
    assert len({site.code for _group, site in SITES}) == len(SITES) >= 12


def test_water_runs_to_a_site_of_the_same_group_and_never_in_a_circle() -> None:
    for group in GROUPS:
        following = {site.code: site.downstream for site in group.sites}
        for site in group.sites:
            passed = [site.code]
            while following[passed[-1]]:
                passed.append(following[passed[-1]])
                assert passed[-1] in following
                assert len(passed) <= len(group.sites)


def test_every_site_has_a_british_grid_reference() -> None:
    assert all((grid_reference(site.latitude, site.longitude) or "")[:2].isalpha() for _group, site in SITES)


def test_every_address_is_one_that_can_never_be_real() -> None:
    assert all(each.email.endswith(".example") for each in PEOPLE)


def test_one_address_is_one_person() -> None:
    named = {each.email: each.name for each in PEOPLE}
    assert all(named[each.email] == each.name for each in PEOPLE)


def test_every_group_has_two_coordinators_and_enough_volunteers() -> None:
    assert all(len(group.coordinators) == 2 and len(group.people) >= 5 for group in GROUPS)


def test_somebody_has_different_roles_in_two_groups() -> None:
    roles: dict[str, set[str]] = {}
    for group in GROUPS:
        for person in group.people:
            roles.setdefault(person.email, set()).add(person.role)
    assert any(len(held) == 2 for held in roles.values())


def test_every_episode_names_a_site_and_a_story() -> None:
    for group in GROUPS:
        codes = {site.code for site in group.sites}
        assert all(each.site in codes and each.story in STORIES for each in group.episodes)
    assert UNPLANNED in STORIES


def test_every_way_an_incident_can_end_or_stand_is_shown() -> None:
    told = {each.story for group in GROUPS for each in group.episodes}
    assert {"open", "acknowledged", "mistaken", "traced", "repeat_fine"} <= told
