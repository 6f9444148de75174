"""What every view of the interface shares, on this floor and above."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from types import MappingProxyType
from typing import Any

from drf_spectacular.utils import OpenApiResponse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.queries import group_for
from surveys.api.problems import MEDIA_TYPE, ProblemDetailsSerializer, handle
from surveys.api.sessions import PERSON_HEADER, OtherPerson

Handler = Callable[[Exception, dict[str, Any]], Response | None]


def refusals(*codes: int) -> dict[Any, OpenApiResponse]:
    """The answers of an address other than success, for the schema."""
    return {
        (code, MEDIA_TYPE): OpenApiResponse(ProblemDetailsSerializer, description=WORDS[code])
        for code in (400, 401, 403, 404, *codes)
    }


WORDS = {
    400: "The request cannot be read.",
    401: "Nobody is signed in.",
    403: "Without the right to do this, without a valid token against forged requests (rule stale_token), or "
    "without the second factor that your role asks for (rule second_factor).",
    404: "Nothing here that you may see.",
    409: "Not as things stand now: the number is in use (rule number_taken), or somebody else is signed in "
    "(rule other_person), or the record is in another state (rule not_possible).",
    422: "What was sent has errors, named by field.",
}


class PortalView(APIView):
    """A view that answers errors as problem details and knows who asks.

    `scopes` says by method what a key has to be for; `entry` is the right that lets into the group.
    """

    scopes: Mapping[str, str] = MappingProxyType({})
    entry = "group.view"

    @property
    def person(self) -> Person:
        person: Person = self.request._request.person  # type: ignore[attr-defined]
        return person

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Whatever is asked for somebody in particular is done for nobody else."""
        super().initial(request, *args, **kwargs)
        meant = request.headers.get(PERSON_HEADER)
        if meant and meant != str(self.person.user_id):
            raise OtherPerson

    @cached_property
    def group(self) -> Group:
        """The group in the address, if the person may do there what the view is for."""
        return group_for(self.person, self.kwargs["slug"], self.entry)

    def sent(self, kind: type[serializers.Serializer[Any]]) -> dict[str, Any]:
        """What was sent, read; raises ValidationError by field."""
        asked = kind(data=self.request.data)
        asked.is_valid(raise_exception=True)
        return dict(asked.validated_data)

    def get_exception_handler(self) -> Handler:
        return handle
