"""Roles, leaving, naming and the group's settings."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client

from portal.accounts import services
from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.queries import coordinator_addresses, group_for, members_of, person_of
from portal.audit.services import history_of
from tests.conftest import Cast


def membership(cast: Cast, role: str) -> Membership:
    return Membership.objects.of_group(cast.group).get(user=getattr(cast, role))


def test_a_coordinator_changes_a_role_and_the_trail_says_so(cast: Cast) -> None:
    changed = membership(cast, "volunteer")
    services.change_role(person=cast.person("coordinator"), membership=changed, role=Role.COORDINATOR)
    assert cast.person("volunteer").is_coordinator(cast.group.id)
    [entry] = history_of(changed, cast.group)
    assert entry.changes == {"role": ["volunteer", "coordinator"]}


def test_a_volunteer_changes_nobodys_role(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        services.change_role(
            person=cast.person("volunteer"), membership=membership(cast, "volunteer"), role=Role.COORDINATOR
        )


def test_the_last_coordinator_stays(cast: Cast) -> None:
    person = cast.person("coordinator")
    services.end_membership(person=person, membership=membership(cast, "second_coordinator"))
    last = membership(cast, "coordinator")
    with pytest.raises(ValidationError, match="at least one coordinator"):
        services.end_membership(person=person, membership=last)
    with pytest.raises(ValidationError, match="at least one coordinator"):
        services.change_role(person=person, membership=last, role=Role.VOLUNTEER)
    assert coordinator_addresses(cast.group) == ["cora@example.org"]


def test_a_person_may_have_different_roles_in_two_groups(cast: Cast) -> None:
    Membership.objects.create(group=cast.neighbour, user=cast.volunteer, role=Role.COORDINATOR)
    person = cast.person("volunteer")
    assert not person.is_coordinator(cast.group.id)
    assert person.is_coordinator(cast.neighbour.id)
    assert {each.group.slug for each in person.memberships} == {"alder-beck", "withy-brook"}


def test_an_inactive_account_is_nobody(cast: Cast) -> None:
    cast.volunteer.is_active = False
    cast.volunteer.save()
    assert not person_of(cast.volunteer).is_signed_in


def test_those_who_left_are_listed_nowhere(cast: Cast) -> None:
    services.end_membership(person=cast.person("volunteer"), membership=membership(cast, "volunteer"))
    assert cast.volunteer not in [each.user for each in members_of(cast.group)]


def test_the_group_is_found_without_a_query(cast: Cast, django_assert_num_queries: Any) -> None:
    person = cast.person("volunteer")
    with django_assert_num_queries(0):
        assert group_for(person, "alder-beck") == cast.group


@pytest.mark.parametrize(
    ("step", "who", "expected"),
    [
        ({"step": "leave"}, "volunteer", "/"),
        ({"step": "naming", "show_name": "on"}, "volunteer", "/groups/alder-beck/people/"),
        ({"step": "role", "role": "coordinator"}, "coordinator", "/groups/alder-beck/people/"),
    ],
)
def test_the_membership_page_takes_each_step(
    cast: Cast, client: Client, step: dict[str, str], who: str, expected: str
) -> None:
    client.force_login(getattr(cast, who))
    answer = client.post(f"/groups/alder-beck/people/{membership(cast, 'volunteer').id}/", step)
    assert answer.status_code == 302
    assert answer["Location"] == expected


def test_naming_is_ones_own_choice(cast: Cast, client: Client) -> None:
    page = f"/groups/alder-beck/people/{membership(cast, 'volunteer').id}/"
    client.force_login(cast.volunteer)
    client.post(page, {"step": "naming", "show_name": "on"})
    assert membership(cast, "volunteer").show_name
    client.force_login(cast.coordinator)
    client.post(page, {"step": "naming"})
    assert membership(cast, "volunteer").show_name


def test_an_unknown_role_is_refused_in_words(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    page = f"/groups/alder-beck/people/{membership(cast, 'volunteer').id}/"
    answer = client.post(page, {"step": "role", "role": "emperor"}, follow=True)
    assert "Choose one of the roles" in answer.content.decode()
    assert membership(cast, "volunteer").role == Role.VOLUNTEER


def test_a_volunteer_opens_only_their_own_membership(cast: Cast, client: Client) -> None:
    client.force_login(cast.volunteer)
    assert client.get(f"/groups/alder-beck/people/{membership(cast, 'volunteer').id}/").status_code == 200
    assert client.get(f"/groups/alder-beck/people/{membership(cast, 'other_volunteer').id}/").status_code == 403


def test_addresses_are_shown_to_coordinators_only(cast: Cast, client: Client) -> None:
    client.force_login(cast.volunteer)
    assert "owen@example.org" not in client.get("/groups/alder-beck/people/").content.decode()
    client.force_login(cast.coordinator)
    assert "owen@example.org" in client.get("/groups/alder-beck/people/").content.decode()


def test_settings_are_changed_and_only_differences_recorded(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    fields = {"name": "Alder Beck Watch", "about": "We watch.", "hold_hours": "12", "acknowledge_hours": "4"}
    assert client.post("/groups/alder-beck/settings/", fields).status_code == 302
    assert Group.objects.get(id=cast.group.id).hold_hours == 12
    [entry] = history_of(cast.group, cast.group)
    assert entry.changes == {"about": ["", "We watch."], "hold_hours": [0, 12]}


def test_a_wrong_setting_is_explained_at_its_field(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    page = client.post(
        "/groups/alder-beck/settings/", {"name": "", "hold_hours": "-1", "acknowledge_hours": "4"}
    )
    assert page.status_code == 422
    assert 'id="id_name_error"' in page.content.decode()
    assert 'id="id_hold_hours_error"' in page.content.decode()


def test_two_accounts_cannot_share_an_address_by_its_case(cast: Cast) -> None:
    from django.db import IntegrityError

    with pytest.raises(IntegrityError):
        User.objects.create(email="VERA@example.org", name="Vera again")
