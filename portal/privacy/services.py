"""Asking to be erased, stopping it, and for how long a group keeps things."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, Membership, User
from portal.accounts.signed_links import DeadLink, SignedLink
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from portal.privacy.blocking import whatever_must_come_first
from portal.privacy.models import Erasure, KeepingTerms
from surveys.people.models import Minor

# Its end stands in the row: it works until the erasure is done or stopped.
STOP_LINK = SignedLink("privacy.stop-erasure", days=None)
KIND = "account.erasure"


@transaction.atomic
@wide("a person is told, and their guardians, of whichever group")
def ask_erasure(*, person: Person, user: User, reason: str = "") -> Erasure:
    """Have this person erased once the waiting time is over; who has asked before gets what waits already.

    They, and a guardian, are told how to stop it. Raises ValidationError while a duty must come first.
    """
    user = User.objects.select_for_update().get(pk=user.pk)
    waiting = waiting_erasure(user)
    if waiting:
        return waiting
    first = whatever_must_come_first(user)
    if first:
        raise ValidationError(first)
    made = Erasure.objects.create(user=user, asked_by_id=person.user_id)
    record_change(actor=person, verb="account.erasure_asked", thing=user, reason=reason)
    for name, address in _whom_to_tell(user):
        _tell(made, person, name, address)
    return made


@transaction.atomic
@wide("whether another group knows them")
def ask_erasure_for(*, person: Person, membership: Membership, reason: str) -> Erasure:
    """A coordinator has a member erased who asked for it by letter.

    Raises ValidationError for oneself, and for somebody whom another group knows as well.
    """
    require(person, "people.manage", membership)
    if membership.user_id == person.user_id:
        raise ValidationError(_("You erase yourself on your own page."))
    others = membership.user.memberships.exclude(group=membership.group_id).filter(left_at=None)
    if others.exists():
        raise ValidationError(_("Another group knows them too. They must ask for it themselves."))
    if not reason.strip():
        raise ValidationError({"reason": _("Say how and when they asked for it.")})
    return ask_erasure(person=person, user=membership.user, reason=reason.strip())


@transaction.atomic
def stop_erasure(erasure: Erasure) -> None:
    """Keep everything as it is. Raises DeadLink where it is done or was stopped before."""
    found = Erasure.objects.select_for_update().get(pk=erasure.pk)
    if found.done_at or found.stopped_at:
        raise DeadLink
    found.stopped_at = timezone.now()
    found.save(update_fields=["stopped_at"])
    user = erasure.user
    record_change(actor=None, verb="account.erasure_stopped", thing=user, actor_name=user.name)


def waiting_erasure(user: User) -> Erasure | None:
    """The erasure of this person that waits, if any."""
    return Erasure.objects.filter(user=user, stopped_at=None, done_at=None).first()


def erasure_behind(token: str) -> Erasure:
    """The erasure a link names; raises Http404 for a forged one, DeadLink for one that is over."""
    number = STOP_LINK.read_id(token)
    rows = Erasure.objects.filter(pk=number, stopped_at=None, done_at=None)
    found = rows.select_related("user").first()
    if found is None:
        raise DeadLink
    return found


def _whom_to_tell(user: User) -> Iterator[tuple[str, str]]:
    yield user.name, user.email
    guardians = Minor.objects.across_groups("guardians of one person").filter(membership__user=user)
    young = guardians.filter(until__gt=timezone.localdate()).exclude(guardian_email="")
    for each in young:
        yield each.guardian_name, each.guardian_email


def _tell(erasure: Erasure, person: Person, name: str, address: str) -> None:
    user = erasure.user
    with speaking_to(user):
        context = {
            "name": name,
            "user": user,
            "due_at": erasure.due_at,
            "by": "" if person.user_id == user.pk else person.name,
            "address": STOP_LINK.address("erasure_stop", erasure.pk),
        }
        subject, text, html = render_mail("privacy/mail/erasure", context)
    owe_message(
        key=f"{KIND}:{erasure.pk}:{'own' if address == user.email else 'guardian'}",
        kind=KIND,
        to_address=address,
        to_name=name,
        subject=subject,
        text=text,
        html=html,
        about=erasure,
    )


@transaction.atomic
def set_keeping_terms(*, person: Person, group: Group, days: Mapping[str, int]) -> None:
    """Let the group's things go after so many days."""
    require(person, "group.edit", group)
    terms = terms_of(group)
    changes = {
        name: [getattr(terms, name), each] for name, each in days.items() if getattr(terms, name) != each
    }
    for name, (_before, after) in changes.items():
        setattr(terms, name, after)
    terms.clean_fields(exclude=["group"])
    terms.save()
    if changes:
        record_change(actor=person, verb="group.keeping", thing=group, changes=changes)


def terms_of(group: Group) -> KeepingTerms:
    """The group's own days, or the portal's where it has said nothing; not saved then."""
    return KeepingTerms.objects.of_group(group).first() or KeepingTerms(group=group)
