"""Erasing one person: theirs goes, the river's stays under a pseudonym; all in one transaction."""

from __future__ import annotations

import logging
import secrets
from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from django.apps import apps
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, Membership, User
from portal.accounts.queries import person_of
from portal.accounts.services import end_membership
from portal.accounts.walls import wide
from portal.audit.addresses import erase_addresses_of
from portal.audit.services import record_change
from portal.audit.watching import HIDDEN
from portal.privacy import files, trail
from portal.privacy.blocking import whatever_must_come_first
from portal.privacy.collecting import addresses_of, rows_of
from portal.privacy.kept import BY_ADDRESS, End, Held
from portal.privacy.models import Erasure
from portal.privacy.register import KEPT
from portal.privacy.words import Replacing, borne_by_nobody_else, replace_everywhere, words_of

log = logging.getLogger(__name__)
# A first part that no mail server knows, at a name that is kept for nobody (RFC 2606).
NO_ADDRESS = "erased-{number}@erased.invalid"
HELD = [held for kind in KEPT for held in kind.held]


@wide("a person is erased in every group")
def erase_whoever_is_due(now: datetime) -> int:
    """Erase everybody whose waiting time is over; return how many. Who must hand over first waits on."""
    due = Erasure.objects.filter(due_at__lte=now, stopped_at=None, done_at=None)
    return sum(_erase_if_due(number, now) for number in due.order_by("due_at").values_list("pk", flat=True))


def _erase_if_due(number: UUID, now: datetime) -> int:
    try:
        return _erase(number, now)
    except ValidationError:
        # A duty that they have taken on since; the page and the desk of their account say which.
        log.info("Erasure %s waits for a duty to be handed over.", number)
        return 0


@transaction.atomic
def _erase(number: UUID, now: datetime) -> int:
    rows = Erasure.objects.select_for_update(of=("self",), skip_locked=True).select_related("user")
    erasure = rows.filter(pk=number, stopped_at=None, done_at=None).first()
    if erasure is None:
        return 0
    erase_person(User.objects.select_for_update().get(pk=erasure.user_id))
    erasure.done_at = now
    erasure.save(update_fields=["done_at"])
    return 1


@transaction.atomic
@wide("a person is erased in every group")
def erase_person(user: User) -> str:
    """Erase the person and return the pseudonym that their records stand under.

    Raises ValidationError while a duty of theirs must come first, see `blocking`.
    """
    first = whatever_must_come_first(user)
    if first:
        raise ValidationError(first)
    groups = list(user.memberships.values_list("group_id", flat=True))
    addresses, pseudonym = addresses_of(user), pseudonym_for(user)
    replacing = Replacing(words_of(_known_by(user, addresses), user), pseudonym)
    owned, about = _owned_rows(user, addresses), _memberships(user)
    _end_memberships(user)
    _end_held(user, addresses, pseudonym)
    files.forget_files(groups)
    _empty_account(user, pseudonym)
    replace_everywhere(replacing, groups)
    record_change(actor=None, verb="account.erased", thing=user)
    erase_addresses_of(user.pk)
    trail.allow_taking_out()
    trail.take_out_of_steps(user, replacing, groups)
    trail.take_out_of_entries(user, about, replacing, groups)
    # Last: all that was changed above stands in the history with what it was before.
    certain = Replacing(borne_by_nobody_else(replacing.words, user), pseudonym)
    trail.take_out_of_rows(owned, _columns(), certain)
    return pseudonym


def pseudonym_for(user: User) -> str:
    """A name such as "Volunteer 7f3a" that nobody else of their groups bears; drawn, so it tells nothing."""
    groups = Group.objects.filter(memberships__user=user)
    taken = set(User.objects.filter(memberships__group__in=groups).values_list("name", flat=True))
    with speaking_to(group=groups.first()):
        while (name := _("Volunteer %(number)s") % {"number": secrets.token_hex(2)}) in taken:
            continue
    return name


def _known_by(user: User, addresses: set[str]) -> set[str]:
    found = set(addresses)
    for held in HELD:
        if held.known_by:
            for row in rows_of(held, user, addresses).values_list(*held.known_by):
                found.update(str(each) for each in row if each)
    return found


def _memberships(user: User) -> set[UUID]:
    return set(user.memberships.values_list("pk", flat=True))


def _end_memberships(user: User) -> None:
    person = person_of(user)
    for each in user.memberships.filter(left_at=None).select_related("group", "user"):
        end_membership(person=person, membership=each)
    Membership.objects.across_groups("a person is erased").filter(user=user).update(show_name=False)


def _end_held(user: User, addresses: set[str], pseudonym: str) -> None:
    for held in HELD:
        rows = rows_of(held, user, addresses)
        if held.end == End.DELETE:
            files.forget_pictures_of(held, rows)
            rows.delete()
        elif held.end == End.BLANK:
            rows.update(**{name: _nothing(held, name) for name in held.fields})
        elif held.end == End.NAME:
            for name in held.fields:
                rows.exclude(**{name: ""}).update(**{name: pseudonym})


def _nothing(held: Held, name: str) -> Any:
    field = apps.get_model(held.model)._meta.get_field(name)
    return None if isinstance(field, models.Field) and field.null else ""


def _empty_account(user: User, pseudonym: str) -> None:
    user.name, user.email = pseudonym, NO_ADDRESS.format(number=user.pk.hex)
    user.phone = user.language = ""
    user.is_active = user.is_staff = user.is_superuser = False
    user.last_login = None
    user.set_unusable_password()
    user.save()
    for session in Session.objects.iterator():
        if session.get_decoded().get("_auth_user_id") == str(user.pk):
            session.delete()


def _columns() -> dict[str, set[str]]:
    """Table to the columns of its history that are emptied with a person; where no values are kept, none."""
    found: dict[str, set[str]] = defaultdict(set)
    for held in HELD:
        table = apps.get_model(held.model)._meta.db_table
        if held.end != End.STAY and table not in HIDDEN:
            found[table].update(held.fields)
    return dict(found)


def _owned_rows(user: User, addresses: set[str]) -> dict[str, set[str]]:
    """Table to the numbers of the person's rows, also of those that were deleted before."""
    found: dict[str, set[str]] = defaultdict(set)
    columns = _columns()
    for held in HELD:
        table = apps.get_model(held.model)._meta.db_table
        if table in columns and held.end != End.STAY:
            numbers = rows_of(held, user, addresses).values_list("pk", flat=True)
            found[table].update(str(each) for each in numbers)
            found[table].update(_rows_of_before(held, user, table))
    return dict(found)


def _rows_of_before(held: Held, user: User, table: str) -> Iterator[str]:
    if held.owner.startswith(BY_ADDRESS):
        return
    first, *more = held.owner.split("__")
    owners = _memberships(user) if more else {user.pk}
    for each in owners:
        yield from trail.rows_of_before(table, f"{first}_id", str(each))
