"""Puts the acting person on each request."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.queries import person_of


class PortalRequest(HttpRequest):
    """A request with the person who makes it, and the group whose pages they are on."""

    person: Person
    current_group: Group | None


class PersonMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: PortalRequest) -> HttpResponse:
        request.person = SimpleLazyObject(lambda: person_of(request.user))  # type: ignore[assignment]
        return self.get_response(request)
