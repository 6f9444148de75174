"""Changing groups and who belongs to them. Each change writes its audit row in the same transaction."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts import moments
from portal.accounts.access import Person, require
from portal.accounts.addresses import prove_address
from portal.accounts.languages import is_spoken, speaking_to
from portal.accounts.models import Group, Invitation, Membership, Role, User
from portal.accounts.queries import members_of, open_invitations, people_of
from portal.accounts.signed_links import SignedLink
from portal.accounts.walls import opens
from portal.audit.services import record_change
from portal.outbox.rendering import render_mail
from portal.outbox.services import cancel_messages, owe_message

# Its end stands in the row, where the people of the group see it; the link itself outlives that a little.
INVITATION = SignedLink("accounts.invitation", days=30, timeless=True)


def invitation_token(invitation: Invitation) -> str:
    """The signed part of an invitation's address."""
    return INVITATION.make(invitation.id)


@opens("the signed link names the invitation")
def invitation_of(token: str) -> Invitation | None:
    """The invitation behind a signed address, open or not; None when it is gone, Http404 for a forged token.

    Raises DeadLink for one too old to say what it was.
    """
    number = INVITATION.read_id(token)
    everywhere = Invitation.objects.across_groups("the signed link names the invitation")
    return everywhere.filter(id=number).select_related("group", "invited_by").first()


@transaction.atomic
def create_group(*, name: str, slug: str, operator: User, coordinator_email: str) -> Group:
    """Found a group and invite its first coordinator."""
    group = Group(name=name, slug=slug)
    group.full_clean()
    group.save()
    founder = Person(user_id=operator.id, name=operator.name, is_operator=True)
    record_change(actor=founder, verb="group.created", thing=group)
    _owe_invitation(founder, group, coordinator_email, Role.COORDINATOR)
    return group


@transaction.atomic
def invite_person(*, person: Person, group: Group, email: str, role: str, language: str = "") -> Invitation:
    """Offer a place in the group; an open invitation to the same address is replaced.

    `language` is that of somebody without an account, where it is known; else it is the group's.
    Raises ValidationError for the field `email` when the address already belongs to a member.
    """
    require(person, "people.manage", group)
    if people_of(group).filter(user__email__iexact=email).exists():
        raise ValidationError({"email": _("This address already belongs to a member of the group.")})
    for earlier in open_invitations(group).filter(email__iexact=email):
        _revoke(person, earlier)
    return _owe_invitation(person, group, email, role, language)


def _owe_invitation(person: Person, group: Group, email: str, role: str, language: str = "") -> Invitation:
    assert person.user_id is not None
    invitation = Invitation.objects.create(
        group=group, email=email.lower(), role=role, invited_by_id=person.user_id
    )
    context = {"invitation": invitation, "group": group, "inviter": person.name}
    account = User.objects.filter(email=invitation.email).first()
    with speaking_to(account, group, own="" if account else language):
        context["address"] = INVITATION.address("invitation_accept", invitation.id)
        subject, text, html = render_mail("accounts/mail/invitation", context)
    owe_message(
        key=f"invitation:{invitation.id}",
        kind="invitation",
        to_address=invitation.email,
        subject=subject,
        text=text,
        html=html,
        group=group,
        about=invitation,
    )
    record_change(
        actor=person,
        verb="invitation.sent",
        thing=invitation,
        # Not the address: a trail that is kept for ever would keep it after whoever it is wants it erased.
        changes={"role": [None, str(role)]},
    )
    return invitation


@transaction.atomic
def revoke_invitation(*, person: Person, invitation: Invitation) -> None:
    """Make an invitation's link stop working."""
    require(person, "people.manage", invitation)
    _revoke(person, invitation)


def _revoke(person: Person, invitation: Invitation) -> None:
    invitation.revoked_at = timezone.now()
    invitation.save(update_fields=["revoked_at"])
    cancel_messages(invitation, "invitation")
    record_change(actor=person, verb="invitation.revoked", thing=invitation)


@transaction.atomic
def join_with_new_account(*, invitation: Invitation, name: str, password: str, show_name: bool = False) -> User:
    """Make the account an invitation was sent for, and the membership with it.

    `show_name` says that they agree to be named in public; whoever must not be is not.
    Raises ValidationError when the link no longer works.
    """
    _hold_open(invitation)
    user = User.objects.create_user(invitation.email, password, name=name)
    membership = accept_invitation(invitation=invitation, user=user)
    if show_name:
        with suppress(ValidationError):
            person = Person(user_id=user.id, name=user.name)
            choose_naming(person=person, membership=membership, show_name=True)
    return user


@transaction.atomic
def accept_invitation(*, invitation: Invitation, user: User) -> Membership:
    """Join the group. Raises ValidationError when the link no longer works, or for a member of the group.

    The link proves the address it was sent to: an account with another address cannot use it.
    """
    invitation = _hold_open(invitation)
    if user.email.lower() != invitation.email.lower():
        raise ValidationError(_("This invitation was sent to another e-mail address than yours."))
    # They took that address after it had been invited; a role is changed by `change_role` alone.
    if people_of(invitation.group).filter(user=user).exists():
        raise ValidationError(_("You belong to the group already."))
    invitation.accepted_at, invitation.accepted_by = timezone.now(), user
    invitation.save(update_fields=["accepted_at", "accepted_by"])
    prove_address(user)
    membership, is_new = Membership.objects.update_or_create(
        group=invitation.group,
        user=user,
        defaults={"role": invitation.role, "left_at": None},
    )
    moments.tell_joined(membership)
    joined = Person(user_id=user.id, name=user.name)
    record_change(
        actor=joined,
        verb="membership.joined" if is_new else "membership.came_back",
        thing=membership,
        changes={"role": [None, invitation.role]},
    )
    return membership


@transaction.atomic
def change_role(*, person: Person, membership: Membership, role: str) -> None:
    """Give a member another role. Raises ValidationError if the group would lose its last coordinator."""
    require(person, "people.manage", membership)
    _hold(membership)
    before = membership.role
    if before == Role.COORDINATOR and role != Role.COORDINATOR:
        _keep_a_coordinator(membership)
    membership.role = role
    membership.save(update_fields=["role"])
    record_change(actor=person, verb="membership.role", thing=membership, changes={"role": [before, str(role)]})


@transaction.atomic
def end_membership(*, person: Person, membership: Membership, reason: str = "") -> None:
    """Let a member go, or leave oneself; the record of what they did stays. Done once, it is done.

    Raises ValidationError if the group would lose its last coordinator.
    """
    if membership.user_id != person.user_id:
        require(person, "people.manage", membership)
    _hold(membership)
    if membership.left_at is not None:
        return
    if membership.role == Role.COORDINATOR:
        _keep_a_coordinator(membership)
    membership.left_at = timezone.now()
    membership.save(update_fields=["left_at"])
    moments.tell_left(membership)
    record_change(actor=person, verb="membership.ended", thing=membership, reason=reason)


@transaction.atomic
def choose_language(*, person: Person, language: str) -> None:
    """Speak to the person in this language from now on; blank goes by their browser.

    Raises ValueError for a language that the portal does not speak.
    """
    if language and not is_spoken(language):
        raise ValueError(f"The portal does not speak {language!r}.")
    assert person.user_id is not None
    user = User.objects.select_for_update().get(id=person.user_id)
    before, user.language = user.language, language
    user.save(update_fields=["language"])
    record_change(actor=person, verb="account.language", thing=user, changes={"language": [before, language]})


@transaction.atomic
def keep_telephone(*, person: Person, phone: str) -> None:
    """Where the person can be rung; blank for nowhere. The trail says that it changed, not to what."""
    assert person.user_id is not None
    user = User.objects.select_for_update().get(id=person.user_id)
    user.phone = phone
    user.save(update_fields=["phone"])
    record_change(actor=person, verb="account.telephone", thing=user, changes={})


def _hold_open(invitation: Invitation) -> Invitation:
    """The invitation as it stands now, which nobody else uses until the transaction ends."""
    everywhere = Invitation.objects.across_groups("the signed link names the invitation")
    held = everywhere.select_for_update().get(id=invitation.id)
    if not held.is_open:
        raise ValidationError(_("This invitation has been used, taken back or has run out."))
    return held


def _hold(membership: Membership) -> None:
    """Bring its role up to date, and let nobody change another role of the group until the transaction ends.

    Of two coordinators who leave at once, the second is then the last, whatever either page had shown.
    """
    Group.objects.select_for_update(no_key=True).get(id=membership.group_id)
    membership.refresh_from_db(fields=["role", "left_at"])


def _keep_a_coordinator(membership: Membership) -> None:
    others = members_of(membership.group).filter(role=Role.COORDINATOR).exclude(id=membership.id)
    if not others.exists():
        raise ValidationError(_("A group needs at least one coordinator. Name another one first."))


@transaction.atomic
def choose_naming(*, person: Person, membership: Membership, show_name: bool) -> None:
    """Say whether one's own name may stand in the group's yearly report.

    Raises ValidationError where somebody must not be named in public.
    """
    if show_name:
        moments.check_naming(membership)
    before, membership.show_name = membership.show_name, show_name
    membership.save(update_fields=["show_name"])
    record_change(
        actor=person,
        verb="membership.naming",
        thing=membership,
        changes={"show_name": [before, show_name]},
    )


GROUP_FIELDS = ("name", "about", "language", "is_public", "hold_hours", "acknowledge_hours")


@transaction.atomic
def edit_group(*, person: Person, group: Group, fields: Mapping[str, Any]) -> Group:
    """Change the group's settings; only what differs is written to the audit trail."""
    require(person, "group.edit", group)
    stored = Group.objects.select_for_update(no_key=True).get(id=group.id)
    changes = {
        each: [getattr(stored, each), fields[each]]
        for each in GROUP_FIELDS
        if each in fields and getattr(stored, each) != fields[each]
    }
    for each, (_before, after) in changes.items():
        setattr(stored, each, after)
    stored.full_clean()
    stored.save()
    if changes:
        record_change(actor=person, verb="group.edited", thing=stored, changes=changes)
    return stored
