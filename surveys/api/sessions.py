"""Who asks: the session of the portal, with refusals that a program can tell apart."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.authentication import SessionScheme
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import APIException, PermissionDenied
from rest_framework.request import Request

from portal.accounts.signing_in.gate import lacks_second_factor
from portal.tokens.authentication import SecondFactorMissing

# Each request of a phone says whose visits it sends, so that nothing is mixed after somebody else signed in.
PERSON_HEADER = "X-Rifflebook-Person"


class StaleToken(PermissionDenied):
    """The token against forged requests is missing or of an earlier session; a fresh one helps."""

    rule = "stale_token"


class OtherPerson(APIException):
    """The request is meant for another account than the one that is signed in."""

    status_code = 409
    rule = "other_person"

    def __init__(self) -> None:
        super().__init__(_("Somebody else is signed in on this device. Sign in as yourself, then send again."))


class PortalSession(SessionAuthentication):
    """The portal's session; where it ran out the answer is 401, and never a sign-in page."""

    def authenticate(self, request: Request) -> Any:
        if lacks_second_factor(request._request):
            raise SecondFactorMissing
        return super().authenticate(request)

    def authenticate_header(self, request: Request) -> str:  # noqa: ARG002
        # Without this header the framework answers 403, which a program takes for a refusal of the visit.
        return "Session"

    def enforce_csrf(self, request: Request) -> None:
        try:
            super().enforce_csrf(request)
        except PermissionDenied as refusal:
            raise StaleToken(refusal.detail) from refusal


class PortalSessionScheme(SessionScheme):  # type: ignore[no-untyped-call]
    """The same in the interface's schema."""

    target_class = "surveys.api.sessions.PortalSession"
    name = "portalSession"


class PortalKeyScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """A person's key in the interface's schema."""

    target_class = "portal.tokens.authentication.KeyAuthentication"
    name = "portalKey"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:  # noqa: ARG002
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A key from the page of your programs' keys.",
        }
