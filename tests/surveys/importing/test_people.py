"""Whom a sheet means by a name or an address."""

from __future__ import annotations

import pytest

from surveys.importing.people import Members
from tests.conftest import Cast
from tests.factories import member_of


@pytest.fixture
def members(cast: Cast) -> Members:
    return Members(cast.group)


@pytest.mark.parametrize(
    "text", ["Vera Example", "vera example", "  VERA   EXAMPLE ", "vera@example.org", "VERA@EXAMPLE.ORG"]
)
def test_it_finds_a_member(cast: Cast, members: Members, text: str) -> None:
    assert members.find(text) == cast.volunteer.pk


@pytest.mark.parametrize("text", ["", "Vera", "Nora Example", "nora@example.org", "sal@example.org", "Example"])
def test_it_finds_nobody_else(members: Members, text: str) -> None:
    assert members.find(text) is None


def test_it_guesses_between_no_two_of_one_name(cast: Cast) -> None:
    other = member_of(cast.group, name="vera EXAMPLE", email="vera2@example.org")
    members = Members(cast.group)
    assert members.find("Vera Example") is None
    assert members.find("vera2@example.org") == other.pk
    assert members.find("vera@example.org") == cast.volunteer.pk
