"""A program shows its key; what the key is not for is refused by name."""

from __future__ import annotations

from typing import Any

from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext as _
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from portal.accounts.middleware import let_in
from portal.accounts.models import User
from portal.accounts.queries import person_of
from portal.accounts.signing_in.second_factor import MISSING, is_asked_of
from portal.accounts.walls import shut
from portal.audit.origins import Way, came_by
from portal.tokens.models import ApiKey
from portal.tokens.services import find_key

# What asks the interface about itself and changes nothing.
_UNSCOPED = ("OPTIONS",)


class ScopeMissing(PermissionDenied):
    """The key is not for this; another one of the same person may be."""

    rule = "scope_missing"


class SecondFactorMissing(PermissionDenied):
    """Whoever asks must sign in with a second factor first."""

    rule = "second_factor"

    def __init__(self) -> None:
        super().__init__(MISSING)


class KeyAuthentication(BaseAuthentication):
    """`Authorization: Bearer <key>`."""

    def authenticate(self, request: Request) -> tuple[User, ApiKey] | None:
        kind, _blank, text = get_authorization_header(request).partition(b" ")
        if kind.lower() != b"bearer":
            return None
        key = find_key(text.strip().decode("latin-1"))
        if key is None:
            raise AuthenticationFailed(_("This key is unknown, run out or revoked."))
        came_by(Way.INTERFACE, key.name)
        _act_as(request, key)
        return key.user, key

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002
        return 'Bearer realm="Rifflebook"'


def _act_as(request: Request, key: ApiKey) -> None:
    """Let the key's person act, whoever else's session came along.

    A key made without a second factor, before its person needed one, is refused until they make another.
    """
    raw: Any = request._request
    shut()
    raw.person = SimpleLazyObject(lambda: let_in(person_of(key.user)))
    if not key.with_second_factor and is_asked_of(raw.person):
        raise SecondFactorMissing


class HasScope(BasePermission):
    """Whether the key is for what the view says of the method; a view that says nothing is for no key."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if not isinstance(request.auth, ApiKey) or request.method in _UNSCOPED:
            return True
        method = "GET" if request.method == "HEAD" else request.method
        scope = getattr(view, "scopes", {}).get(method, "")
        # Where several are told, any of them will do.
        if any(each in request.auth.scopes for each in scope.split(" or ")):
            return True
        raise ScopeMissing(
            _("This key is not for that; it lacks the scope %(scope)s.") % {"scope": scope or "–"}
        )
