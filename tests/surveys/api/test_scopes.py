"""Every address of the interface says which key opens it, and answers in one shape where there is none."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from portal.tokens.models import Scope
from surveys.api.base import PortalView

SAFE = {"HEAD", "OPTIONS"}


def views_of(resolver: URLResolver | None = None) -> Iterator[tuple[str, Any]]:
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from views_of(pattern)
        elif isinstance(pattern, URLPattern) and issubclass(getattr(pattern.callback, "cls", type), PortalView):
            yield str(pattern.name), pattern.callback.cls  # type: ignore[attr-defined]


VIEWS = dict(views_of())


@pytest.mark.parametrize("name", sorted(VIEWS))
def test_every_method_names_a_scope(name: str) -> None:
    view = VIEWS[name]
    methods = {each.upper() for each in view.http_method_names if hasattr(view, each)} - SAFE
    assert methods == set(view.scopes)
    # Several that will do stand in one word with "or" between.
    assert {one for each in view.scopes.values() for one in each.split(" or ")} <= set(Scope.values)


def test_reading_never_takes_a_scope_of_writing() -> None:
    assert len(VIEWS) > 15
    for view in VIEWS.values():
        assert view.scopes.get("GET", Scope.EXPORT) not in (Scope.WRITE_SITES, Scope.WRITE_VISITS, Scope.REVIEW)


def test_a_key_for_sending_sheets_in_takes_no_file_out() -> None:
    assert Scope.IMPORT in VIEWS["api_job"].scopes["GET"].split(" or ")
    assert VIEWS["api_job_file"].scopes == {"GET": Scope.EXPORT}


@pytest.mark.parametrize("path", ["/api/v2/groups/", "/api/nothing/"])
def test_an_address_that_does_not_exist_is_told_as_problem_details(db: None, path: str) -> None:
    answer = Client().get(path)
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
    assert answer.json()["status"] == 404


def test_people_still_get_a_page(db: None) -> None:
    answer = Client().get("/nothing/")
    assert (answer.status_code, answer["Content-Type"]) == (404, "text/html; charset=utf-8")


def test_a_fault_of_ours_is_told_as_problem_details(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surveys.views.api_docs.operations", lambda: 1 / 0)
    answer = Client(raise_request_exception=False).get("/api/docs/")
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
