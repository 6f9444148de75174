"""Puts the acting person on each request."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.queries import person_of
from portal.accounts.walls import admit, closed


class PortalRequest(HttpRequest):
    """A request with the person who makes it, and the group whose pages they are on."""

    person: Person
    current_group: Group | None


class WallMiddleware:
    """Whatever answers a request gets rows of those groups only that it admits."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with closed():
            return self.get_response(request)


class PersonMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: PortalRequest) -> HttpResponse:
        request.person = SimpleLazyObject(lambda: let_in(person_of(request.user)))  # type: ignore[assignment]
        return self.get_response(request)


def let_in(person: Person) -> Person:
    """The database gives out the rows of the groups that the person belongs to."""
    admit(*person.group_ids)
    return person
