"""Sign-ins and changes of how somebody signs in, into the trail: by the signals of Django and allauth.

No password is in any of it, and no address: one that belongs to no account stands as a keyed digest, from which
it cannot be read, but which is the same for each try.
"""

from __future__ import annotations

import hmac
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from allauth.account import signals
from django.apps import apps
from django.conf import settings
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.dispatch import Signal

from portal.accounts.access import Person
from portal.accounts.models import User
from portal.audit.services import record_change, record_event

# What somebody typed who has no account.
UNKNOWN_ADDRESS = "accounts.unknown_address"
NOT_SIGNED_IN = "–"
# Each of these comes with the account as `user`.
BY_SIGNAL: Mapping[Signal, str] = {
    user_logged_in: "account.signed_in",
    user_logged_out: "account.signed_out",
    signals.password_changed: "account.password_changed",
    signals.password_set: "account.password_set",
    signals.password_reset: "account.password_reset",
    signals.email_added: "account.address_added",
    signals.email_changed: "account.address_changed",
    signals.email_removed: "account.address_removed",
}


def note_account(user: User, verb: str, *, changes: Mapping[str, Any] | None = None) -> None:
    """Write what its own person did with an account."""
    actor = Person(user_id=user.pk, name=user.name)
    record_change(actor=actor, verb=verb, thing=user, changes=changes)


def connect() -> None:
    """Listen; called once all apps are there."""
    for signal in BY_SIGNAL:
        signal.connect(_note, dispatch_uid="audit")
    signals.email_confirmed.connect(_confirmed, dispatch_uid="audit")
    user_login_failed.connect(_sign_in_failed, dispatch_uid="audit")
    if apps.is_installed("allauth.mfa"):
        _connect_second_factors()


def _connect_second_factors() -> None:
    # Its models may be imported only where the app is installed.
    from allauth.mfa import signals as factors

    for signal, verb in (
        (factors.authenticator_added, "account.factor_added"),
        (factors.authenticator_removed, "account.factor_removed"),
        (factors.authenticator_reset, "account.factor_renewed"),
        (factors.authentication_failed, "account.factor_failed"),
    ):
        signal.connect(_factor_noted(verb), dispatch_uid="audit", weak=False)


def _factor_noted(verb: str) -> Any:
    def note(user: User, authenticator: Any, **_rest: Any) -> None:
        note_account(user, verb, changes={"factor": [None, str(authenticator.type)]})

    return note


def _note(signal: Signal, user: User | None, **_rest: Any) -> None:
    # Signing out is also for those who were not signed in.
    if isinstance(user, User):
        note_account(user, BY_SIGNAL[signal])


def _confirmed(email_address: Any, **_rest: Any) -> None:
    note_account(email_address.user, "account.address_confirmed")


def _sign_in_failed(credentials: Mapping[str, Any], **_rest: Any) -> None:
    typed = str(credentials.get("email") or credentials.get("username") or "").strip().lower()
    user = User.objects.filter(email__iexact=typed).first() if "\0" not in typed else None
    about = (User._meta.label_lower, user.pk) if user else (UNKNOWN_ADDRESS, digest_of_address(typed))
    record_event(verb="account.sign_in_failed", about=about, actor_name=NOT_SIGNED_IN)


def digest_of_address(typed: str) -> UUID:
    """A number for an address that is no account's: the same each time, and with the portal's key only."""
    key = f"audit.unknown-address:{settings.SECRET_KEY}".encode()
    return UUID(bytes=hmac.digest(key, typed.encode("utf-8", "surrogatepass"), "sha256")[:16])
