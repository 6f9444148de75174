"""Making, finding and revoking keys."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import timedelta

from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.audit.services import record_change
from portal.tokens.models import ApiKey

START = "rfb_"
MOST_KEYS = 20
# Often enough to tell which key is in use, seldom enough not to write with every request.
NOTED_EVERY = timedelta(minutes=10)


class TooManyKeys(Exception):
    """The person has as many keys in use as one may have."""


@dataclass(frozen=True)
class Made:
    """A new key and its text, which is shown this once and never kept."""

    key: ApiKey
    text: str


def digest_of(text: str) -> str:
    """What is kept of a key. Plain SHA-256 is enough: 256 random bits cannot be guessed from it."""
    return hashlib.sha256(text.encode()).hexdigest()


@transaction.atomic
def make_key(
    *, person: Person, name: str, scopes: Iterable[str], days: int, with_second_factor: bool = False
) -> Made:
    """Make a key that holds for so many days; raises TooManyKeys, PermissionDenied for nobody.

    `with_second_factor`: whether whoever makes it has signed in with one.
    """
    if person.user_id is None:
        raise PermissionDenied
    if keys_in_use(person).count() >= MOST_KEYS:
        raise TooManyKeys(_("You have %(most)d keys in use. Revoke one first.") % {"most": MOST_KEYS})
    text = START + secrets.token_urlsafe(32)
    key = ApiKey.objects.create(
        user_id=person.user_id,
        name=name,
        start=text[:8],
        digest=digest_of(text),
        scopes=sorted(set(scopes)),
        with_second_factor=with_second_factor,
        expires_at=timezone.now() + timedelta(days=days),
    )
    record_change(actor=person, verb="api_key.made", thing=key, changes={"scopes": [[], key.scopes]})
    return Made(key, text)


@transaction.atomic
def revoke_key(*, person: Person, key: ApiKey) -> None:
    """End a key at once; a second time changes nothing."""
    if key.user_id != person.user_id:
        raise PermissionDenied
    if keys_of(person).filter(pk=key.pk, revoked_at=None).update(revoked_at=timezone.now()):
        record_change(actor=person, verb="api_key.revoked", thing=key)


def keys_of(person: Person) -> QuerySet[ApiKey]:
    """All keys the person ever made, the newest first."""
    return ApiKey.objects.filter(user=person.user_id)


def keys_in_use(person: Person) -> QuerySet[ApiKey]:
    """Those that still open something."""
    return keys_of(person).filter(revoked_at=None, expires_at__gt=timezone.now())


def find_key(text: str) -> ApiKey | None:
    """The valid key of that text, of an account in use; its use is noted."""
    key = ApiKey.objects.select_related("user").filter(digest=digest_of(text), user__is_active=True).first()
    if key is None or not key.is_valid:
        return None
    _note_use(key)
    return key


def _note_use(key: ApiKey) -> None:
    now = timezone.now()
    unnoted = Q(last_used_at=None) | Q(last_used_at__lt=now - NOTED_EVERY)
    # Reading must go on while the database cannot write.
    with suppress(DatabaseError), transaction.atomic():
        if key.last_used_at is None and ApiKey.objects.filter(pk=key.pk, last_used_at=None).update(
            last_used_at=now
        ):
            owner = Person(user_id=key.user_id, name=key.user.name)
            record_change(actor=owner, verb="api_key.first_used", thing=key)
            return
        ApiKey.objects.filter(unnoted, pk=key.pk).update(last_used_at=now)
