"""Identifiers that tell a slip of the pen, and digests that tell a changed figure."""

from __future__ import annotations

from string import ascii_lowercase, digits

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from portal.reports.identifiers import PREFIX, digest_of, identifier_of, is_sound

SLUGS = st.text(ascii_lowercase + digits + "-_", min_size=1, max_size=20)
SIGNS = st.sampled_from(ascii_lowercase + digits + "-_.")


def test_it_holds_slug_year_and_edition() -> None:
    assert identifier_of("alder-beck", 2025, 1).startswith("rifflebook:alder-beck.2025.1-")


def test_its_digits_are_those_of_mod_97_10() -> None:
    """0 to 9 count as 00 to 09 and a stop as 38: number and check digits leave 1 when divided by 97."""
    check = identifier_of("7", 2025, 1)[-2:]
    assert (int("0738020002053801") * 100 + int(check)) % 97 == 1
    assert 2 <= int(check) <= 98


@given(SLUGS, st.integers(1990, 2100), st.integers(1, 40))
def test_what_was_given_is_sound(slug: str, year: int, edition: int) -> None:
    assert is_sound(identifier_of(slug, year, edition))
    assert is_sound(identifier_of(slug, year, edition).removeprefix(PREFIX).upper())


@given(SLUGS, st.integers(0, 60), SIGNS)
def test_one_wrong_sign_is_found(slug: str, place: int, sign: str) -> None:
    right = identifier_of(slug, 2025, 1).removeprefix(PREFIX)
    place %= len(right)
    assume(right[place] != sign)
    assert not is_sound(right[:place] + sign + right[place + 1 :])


@given(SLUGS, st.integers(0, 60))
def test_neighbours_that_changed_places_are_found(slug: str, place: int) -> None:
    right = identifier_of(slug, 2025, 1).removeprefix(PREFIX)
    place %= len(right) - 1
    one, other = right[place], right[place + 1]
    assume(one != other)
    assert not is_sound(right[:place] + other + one + right[place + 2 :])


@pytest.mark.parametrize(
    "nonsense", ["", "-", "47", "-47", "a.2025.1-4", "a.2025.1-4x", "ä.2025.1-47", "a-\u0661\u0662"]
)
def test_nonsense_is_not_sound(nonsense: str) -> None:
    assert not is_sound(nonsense)


def test_a_digest_hangs_on_figures_and_not_on_their_order() -> None:
    assert digest_of({"a": 1, "b": [2.5, "ä"]}) == digest_of({"b": [2.5, "ä"], "a": 1})
    assert digest_of({"a": 1}) != digest_of({"a": 2})
