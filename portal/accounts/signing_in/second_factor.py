"""Who must sign in with a second factor, and whether this session was.

A passkey that asked for a finger, a face or a PIN is two factors in one; a one-time code or a recovery code is
the second one after the password. A session keeps how it was made, so that no page asks the database for it.
"""

from __future__ import annotations

from allauth.account.authentication import AUTHENTICATION_METHODS_SESSION_KEY, get_authentication_records
from allauth.account.internal.flows.login import record_authentication
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from portal.accounts.access import Person
from portal.accounts.models import Role, User

REQUIRED, OPTIONAL = "required", "optional"
# Recovery codes stand in for one of these; alone they are none.
FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
MISSING = _(
    "Coordinators and those who run the portal sign in with a second factor. Set one up, or sign in with yours,"
    " on the page “Signing in” of your account; then try again."
)


def is_asked_of(person: Person) -> bool:
    """Whether the person's roles ask for a second factor here."""
    if settings.SECOND_FACTOR != REQUIRED:
        return False
    return person.is_operator or Role.COORDINATOR in person.roles.values()


def is_proven(request: HttpRequest) -> bool:
    """Whether this session was made, or confirmed since, with a second factor."""
    user = request.user
    records = get_authentication_records(request, user) if isinstance(user, User) else []
    return any(record.get("method") == "mfa" for record in records)


def note_proof(request: HttpRequest, user: User, factor: Authenticator) -> None:
    """Whoever has just set a factor up has shown that they hold it."""
    record_authentication(request, user, "mfa", id=factor.pk, type=factor.type, reauthenticated=True)


def forget_proof(request: HttpRequest, user: User) -> None:
    """Once the last factor is gone, the session counts as made without one."""
    records = get_authentication_records(request, user)
    kept = [record for record in records if record.get("method") != "mfa"]
    request.session[AUTHENTICATION_METHODS_SESSION_KEY] = kept


def has_factor(user: User) -> bool:
    """Whether the account has anything to sign in with besides its password."""
    return bool(Authenticator.objects.filter(user=user, type__in=FACTORS).exists())
