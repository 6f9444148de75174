"""What follows when the sign-in library has changed an account."""

from __future__ import annotations

from typing import Any

from allauth.account.models import EmailAddress
from allauth.account.signals import email_added, password_changed, password_reset, password_set
from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authenticator_added, authenticator_removed
from django.http import HttpRequest

from portal.accounts.models import User
from portal.accounts.signing_in import second_factor
from portal.accounts.signing_in.address_changes import ask_present_address
from portal.accounts.signing_in.sessions import end_sessions


def connect() -> None:
    """Have all of these called."""
    authenticator_added.connect(on_factor_added, dispatch_uid="accounts")
    authenticator_removed.connect(on_factor_removed, dispatch_uid="accounts")
    email_added.connect(on_address_added, dispatch_uid="accounts")
    for changed in (password_changed, password_set, password_reset):
        changed.connect(on_new_password, dispatch_uid="accounts")


def on_factor_added(request: HttpRequest, user: User, authenticator: Authenticator, **_kwargs: Any) -> None:
    """The first factor ends what was signed in without one."""
    if authenticator.type not in second_factor.FACTORS:
        return
    if Authenticator.objects.filter(user=user, type__in=second_factor.FACTORS).count() == 1:
        end_sessions(user, but=request.session.session_key)
    second_factor.note_proof(request, user, authenticator)


def on_factor_removed(request: HttpRequest, user: User, **_kwargs: Any) -> None:
    if not second_factor.has_factor(user):
        second_factor.forget_proof(request, user)


def on_address_added(request: HttpRequest, email_address: EmailAddress, **_kwargs: Any) -> None:
    ask_present_address(request, email_address)


def on_new_password(request: HttpRequest, user: User, **_kwargs: Any) -> None:
    """Sessions under the old password open nothing any more; their rows go as well."""
    end_sessions(user, but=request.session.session_key)
