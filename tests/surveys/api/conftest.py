"""Clients that are signed in as one of the cast."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

import pytest
from rest_framework.test import APIClient

from tests.conftest import Cast

ClientOf = Callable[[str], APIClient]


@pytest.fixture
def client_of(cast: Cast) -> ClientOf:
    """A client signed in as that member of the cast."""

    def signed_in(who: str) -> APIClient:
        client = APIClient()
        client.force_login(getattr(cast, who))
        return client

    return signed_in


def address(*parts: str | UUID, slug: str = "alder-beck") -> str:
    """An address of a group's part of the interface."""
    return "/".join(["/api/v1/groups", slug, *map(str, parts), ""])
