"""Leaving a group, being let go, and coming back."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from portal.accounts.models import Membership, Role, User
from portal.accounts.queries import members_of
from portal.accounts.services import accept_invitation
from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.models import Visit
from surveys.people.models import EmergencyContact, Minor, Training
from surveys.people.queries import former_members
from surveys.people.services import records
from tests.conftest import Cast
from tests.factories import person_for, submit
from tests.people.making import membership_of, trained, under_18

pytestmark = pytest.mark.django_db


def leave(cast: Cast, user: User, reason: str = "") -> Membership:
    membership = membership_of(user, cast.group)
    records.leave_group(person=person_for(user), membership=membership, reason=reason)
    membership.refresh_from_db()
    return membership


def come_back(cast: Cast, user: User, role: str = Role.VOLUNTEER) -> Membership:
    membership = membership_of(user, cast.group)
    invitation = records.ask_back(person=cast.person("coordinator"), membership=membership, role=role)
    return accept_invitation(invitation=invitation, user=user)


def test_whoever_leaves_is_no_member_and_the_trail_says_why(cast: Cast) -> None:
    left = leave(cast, cast.volunteer, " Moves away. ")
    assert cast.volunteer.pk not in {each.user_id for each in members_of(cast.group)}
    [entry] = history_of(left, cast.group)
    assert (entry.verb, entry.reason) == ("membership.ended", "Moves away.")
    assert [each.user for each in former_members(cast.group)] == [cast.volunteer]


def test_a_coordinator_lets_go_only_with_a_reason(cast: Cast) -> None:
    membership = membership_of(cast.volunteer, cast.group)
    with pytest.raises(NotPossible) as refused:
        records.end_for_reason(person=cast.person("coordinator"), membership=membership, reason=" ")
    assert refused.value.field == "reason"
    records.end_for_reason(person=cast.person("coordinator"), membership=membership, reason="Asked for it.")
    assert history_of(membership, cast.group)[0].reason == "Asked for it."


def test_a_volunteer_ends_nobodys_membership(cast: Cast) -> None:
    membership = membership_of(cast.other_volunteer, cast.group)
    with pytest.raises(PermissionDenied):
        records.end_for_reason(person=cast.person("volunteer"), membership=membership, reason="No.")
    with pytest.raises(ValueError, match="themselves alone"):
        records.leave_group(person=cast.person("volunteer"), membership=membership)


def test_the_last_coordinator_cannot_leave(cast: Cast) -> None:
    leave(cast, cast.second_coordinator)
    with pytest.raises(NotPossible, match="at least one coordinator"):
        leave(cast, cast.coordinator)
    own = membership_of(cast.coordinator, cast.group)
    with pytest.raises(NotPossible, match="at least one coordinator"):
        records.end_for_reason(person=cast.person("coordinator"), membership=own, reason="Tired.")
    assert own.user_id in {each.user_id for each in members_of(cast.group)}


def test_the_page_says_so_and_keeps_what_was_typed(cast: Cast) -> None:
    leave(cast, cast.second_coordinator)
    client = Client()
    client.force_login(cast.coordinator)
    typed = {"reason": "I move to the coast.", "understood": "on"}
    answer: Any = client.post(reverse("membership_leave", args=[cast.group.slug]), typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "at least one coordinator" in page
    assert "I move to the coast." in page


def test_a_membership_ends_once(cast: Cast) -> None:
    membership = leave(cast, cast.volunteer)
    with pytest.raises(NotPossible, match="ended already"):
        records.end_for_reason(person=cast.person("coordinator"), membership=membership, reason="Again.")


def test_whom_to_ring_goes_at_once_and_of_a_minor_only_the_day_stays(cast: Cast) -> None:
    own = membership_of(cast.volunteer, cast.group)
    records.set_emergency_contact(
        person=cast.person("volunteer"), membership=own, name="Gwen", phone="01632 960333"
    )
    until = under_18(cast.volunteer, cast.group).until
    leave(cast, cast.volunteer)
    assert not EmergencyContact.objects.of_group(cast.group).exists()
    kept = Minor.objects.of_group(cast.group).get()
    assert (kept.until, kept.guardian_name, kept.guardian_phone, kept.guardian_email) == (until, "", "", "")


def test_visits_and_trainings_stay_and_are_found_again(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    training = trained(cast.volunteer, cast.group)
    left = leave(cast, cast.volunteer)
    assert Visit.objects.of_group(cast.group).get(pk=visit.pk).recorder == cast.volunteer
    back = come_back(cast, cast.volunteer)
    assert back.pk == left.pk
    assert back.left_at is None
    assert list(Training.objects.of_group(cast.group).filter(membership=back)) == [training]
    verbs = [each.verb for each in history_of(back, cast.group)]
    assert sorted(verbs) == ["membership.came_back", "membership.ended"]


def test_whoever_comes_back_has_the_role_now_given_and_is_asked_anew_about_naming(cast: Cast) -> None:
    Membership.objects.of_group(cast.group).filter(user=cast.second_coordinator).update(show_name=True)
    leave(cast, cast.second_coordinator)
    back = come_back(cast, cast.second_coordinator)
    back.refresh_from_db()
    assert (back.role, back.show_name) == ("volunteer", False)


def test_only_who_left_is_asked_back(cast: Cast) -> None:
    membership = membership_of(cast.volunteer, cast.group)
    with pytest.raises(NotPossible, match="belong to the group"):
        records.ask_back(person=cast.person("coordinator"), membership=membership, role="volunteer")
    leave(cast, cast.volunteer)
    with pytest.raises(PermissionDenied):
        records.ask_back(
            person=cast.person("other_volunteer"),
            membership=membership_of(cast.volunteer, cast.group),
            role="coordinator",
        )


def test_nothing_is_kept_of_a_guardian_of_somebody_who_has_left(cast: Cast) -> None:
    left = leave(cast, cast.volunteer)
    guardian = records.Guardian(under_18(cast.volunteer, cast.group).until, "Gwen Brook", "01632 960222")
    with pytest.raises(NotPossible, match="ended already"):
        records.set_guardian(person=cast.person("coordinator"), membership=left, guardian=guardian)
