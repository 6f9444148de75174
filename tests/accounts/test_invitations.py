"""Joining a group by the link in an e-mail."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core import signing
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404
from django.test import Client
from django.utils import timezone

from portal.accounts import services
from portal.accounts.models import Invitation, Membership, Role, User
from portal.audit.services import history_of
from portal.outbox.models import Message, State
from tests.conftest import Cast


def invite(cast: Cast, email: str = "new@example.org", role: str = Role.VOLUNTEER) -> Invitation:
    return services.invite_person(person=cast.person("coordinator"), group=cast.group, email=email, role=role)


def link(invitation: Invitation) -> str:
    return f"/invitations/{services.invitation_token(invitation)}/"


def mails(cast: Cast) -> list[Message]:
    return list(Message.objects.of_group(cast.group).filter(kind="invitation").order_by("created_at"))


def test_it_owes_an_email_whose_link_opens_the_invitation(cast: Cast, client: Client) -> None:
    invitation = invite(cast)
    [mail] = mails(cast)
    assert mail.to_address == "new@example.org"
    assert "Cora Example" in mail.text
    assert "Alder Beck Watch" in mail.subject
    address = re.search(r"http\S+(/invitations/\S+)", mail.text)
    assert address
    # But for the moment that it was signed in.
    assert address[1].partition(":")[0] == link(invitation).partition(":")[0]
    assert address[1] in mail.html
    assert client.get(address[1]).status_code == 200


def test_a_newcomer_makes_an_account_and_is_a_signed_in_member(cast: Cast, client: Client) -> None:
    invitation = invite(cast)
    answer = client.post(link(invitation), {"name": "Nat Example", "password": "wet feet warm tea"})
    assert answer.status_code == 302
    assert answer["Location"] == "/groups/alder-beck/"
    membership = Membership.objects.of_group(cast.group).get(user__email="new@example.org")
    assert membership.role == Role.VOLUNTEER
    assert client.session["_auth_user_id"] == str(membership.user_id)
    assert User.objects.get(email="new@example.org").check_password("wet feet warm tea")
    assert f"You have joined {cast.group.name}." in client.get(answer["Location"]).content.decode()


def test_looking_at_the_link_joins_nothing(cast: Cast, client: Client) -> None:
    invitation = invite(cast)
    for _visit in range(3):
        assert client.get(link(invitation)).status_code == 200
        assert client.head(link(invitation)).status_code in (200, 405)
    assert not User.objects.filter(email="new@example.org").exists()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"name": "", "password": "wet feet warm tea"}, "required"),
        ({"name": "Nat", "password": "short"}, "too short"),
        ({"name": "Nat", "password": "password123"}, "too common"),
        ({"name": "Nat", "password": "new@example.org"}, "similar"),
    ],
)
def test_a_wrong_entry_is_explained_and_the_name_kept(
    cast: Cast, client: Client, fields: dict[str, str], words: str
) -> None:
    answer = client.post(link(invite(cast)), fields)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert f'value="{fields["name"]}"' in answer.content.decode() or not fields["name"]
    assert not User.objects.filter(email="new@example.org").exists()


def test_it_works_once(cast: Cast, client: Client) -> None:
    invitation = invite(cast)
    client.post(link(invitation), {"name": "Nat Example", "password": "wet feet warm tea"})
    again = Client().post(link(invitation), {"name": "Eve Example", "password": "other feet cold tea"})
    assert again.status_code == 410
    assert "sign in" in again.content.decode()


def test_it_ends_after_its_days(cast: Cast, client: Client) -> None:
    invitation = invite(cast)
    Invitation.objects.of_group(cast.group).update(expires_at=timezone.now() - timedelta(minutes=1))
    assert client.get(link(invitation)).status_code == 410


def test_a_revoked_one_no_longer_works_and_its_mail_is_not_sent(cast: Cast, client: Client) -> None:
    invitation = invite(cast)
    services.revoke_invitation(person=cast.person("coordinator"), invitation=invitation)
    assert client.get(link(invitation)).status_code == 410
    assert mails(cast)[0].state == "cancelled"


def test_coordinators_see_among_the_people_that_its_mail_did_not_arrive(cast: Cast, client: Client) -> None:
    lost, sent = invite(cast, "lost@example.org"), invite(cast, "sent@example.org")
    states = {lost.email: State.FAILED, sent.email: State.SENT}
    for mail in mails(cast):
        Message.objects.of_group(cast.group).filter(pk=mail.pk).update(state=states[mail.to_address])
    client.force_login(cast.coordinator)
    page = client.get(f"/groups/{cast.group.slug}/people/")
    assert [each for each in page.context["invited"] if each.is_undelivered] == [lost]
    [line] = re.findall(r"<li class=\"desk-row\">[^\n]*has not been delivered", page.content.decode())
    assert "lost@example.org" in line


def test_a_second_invitation_to_the_same_address_replaces_the_first(cast: Cast, client: Client) -> None:
    first, second = invite(cast), invite(cast, email="NEW@example.org", role=Role.COORDINATOR)
    assert client.get(link(first)).status_code == 410
    assert client.get(link(second)).status_code == 200


@pytest.mark.parametrize("token", ["x", "a:b", signing.Signer(salt="accounts.invitation").sign("text")])
def test_a_forged_link_is_unknown(cast: Cast, client: Client, token: str) -> None:
    assert client.get(f"/invitations/{token}/").status_code == 404


def test_a_token_of_another_purpose_is_unknown(cast: Cast, client: Client) -> None:
    token = signing.Signer(salt="something.else").sign(str(invite(cast).id))
    assert client.get(f"/invitations/{token}/").status_code == 404


def test_an_account_with_the_address_joins_by_one_click(cast: Cast, client: Client) -> None:
    invitation = invite(cast, email=cast.neighbour_volunteer.email, role=Role.COORDINATOR)
    client.force_login(cast.neighbour_volunteer)
    assert "Join the group" in client.get(link(invitation)).content.decode()
    assert client.post(link(invitation)).status_code == 302
    roles = cast.person("neighbour_volunteer").roles
    assert roles == {cast.group.id: Role.COORDINATOR, cast.neighbour.id: Role.VOLUNTEER}


def test_another_account_cannot_use_the_link(cast: Cast, client: Client) -> None:
    invitation = invite(cast, email=cast.neighbour_volunteer.email)
    client.force_login(cast.stranger)
    page = client.post(link(invitation))
    assert page.status_code == 200
    assert "Sign out" in page.content.decode()
    assert not cast.person("stranger").roles
    with pytest.raises(ValidationError):
        services.accept_invitation(invitation=invitation, user=cast.stranger)


def test_somebody_who_left_comes_back(cast: Cast) -> None:
    membership = Membership.objects.of_group(cast.group).get(user=cast.volunteer)
    services.end_membership(person=cast.person("coordinator"), membership=membership)
    assert not cast.person("volunteer").roles
    services.accept_invitation(invitation=invite(cast, email=cast.volunteer.email), user=cast.volunteer)
    assert cast.person("volunteer").is_member(cast.group.id)
    assert Membership.objects.of_group(cast.group).filter(user=cast.volunteer).count() == 1


def test_a_member_who_took_an_invited_address_keeps_the_role(cast: Cast, client: Client) -> None:
    invitation = invite(cast, email="newt@example.org", role=Role.VOLUNTEER)
    User.objects.filter(pk=cast.coordinator.pk).update(email="newt@example.org")
    client.force_login(cast.coordinator)
    page = client.post(link(invitation), follow=True)
    assert "You belong to the group already." in page.content.decode()
    assert cast.person("coordinator").roles[cast.group.id] == Role.COORDINATOR
    assert Invitation.objects.of_group(cast.group).get(pk=invitation.pk).is_open


def test_an_invitation_taken_back_while_its_page_was_open_says_so(
    cast: Cast, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    invitation = invite(cast)
    services.revoke_invitation(person=cast.person("coordinator"), invitation=invitation)
    # As the view saw it a moment before.
    monkeypatch.setattr(Invitation, "is_open", property(lambda each: next(looks)))
    looks = iter([True, False])
    answers = {"name": "Newt Example", "password": "three unrelated words"}
    page = client.post(link(invitation), answers, follow=True)
    assert "has been used, taken back or has run out" in page.content.decode()
    assert not User.objects.filter(email=invitation.email).exists()


def test_a_member_is_not_invited_again(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    page = client.post("/groups/alder-beck/people/invite/", {"email": "VERA@example.org", "role": "volunteer"})
    assert page.status_code == 422
    assert "already belongs to a member" in page.content.decode()


def test_a_browser_does_not_offer_the_coordinator_s_own_address(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    page = client.get(f"/groups/{cast.group.slug}/people/invite/").content.decode()
    assert re.search(r'<input type="email"[^>]* autocomplete="off"', page)


def test_a_volunteer_may_not_invite_and_a_stranger_learns_nothing(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        services.invite_person(
            person=cast.person("volunteer"), group=cast.group, email="x@example.org", role=Role.VOLUNTEER
        )
    with pytest.raises(Http404):
        services.invite_person(
            person=cast.person("neighbour_coordinator"),
            group=cast.group,
            email="x@example.org",
            role="volunteer",
        )
    assert not mails(cast)


def test_each_step_is_in_the_audit_trail(cast: Cast) -> None:
    invitation = invite(cast)
    services.revoke_invitation(person=cast.person("second_coordinator"), invitation=invitation)
    trail = [(entry.verb, entry.actor_name) for entry in history_of(invitation, cast.group)]
    assert trail == [("invitation.sent", "Cora Example"), ("invitation.revoked", "Cole Example")]


def test_founding_a_group_invites_its_first_coordinator(cast: Cast) -> None:
    operator = User.objects.create_user("op@example.org", name="Opal Example", is_staff=True)
    group = services.create_group(
        name="Sedge Water Watch", slug="sedge-water", operator=operator, coordinator_email="first@example.org"
    )
    invitation = Invitation.objects.of_group(group).get()
    user = services.join_with_new_account(
        invitation=invitation, name="Fay Example", password="three dry towels"
    )
    assert Membership.objects.of_group(group).get().role == Role.COORDINATOR
    assert user.email == "first@example.org"


@pytest.mark.parametrize(
    ("box", "is_named"), [({}, False), ({"show_name": "on"}, True)], ids=["left", "ticked"]
)
def test_whoever_joins_is_asked_whether_they_may_be_named(
    cast: Cast, client: Client, box: dict[str, str], is_named: bool
) -> None:
    address = link(invite(cast))
    assert 'name="show_name"' in client.get(address).content.decode()
    assert "checked" not in client.get(address).content.decode()
    client.post(address, {"name": "Newt Example", "password": "three dry towels", **box})
    assert Membership.objects.of_group(cast.group).get(user__email="new@example.org").show_name is is_named
