"""Which passwords are taken: long ones that nobody guesses, of whatever characters."""

from __future__ import annotations

from hashlib import sha1
from pathlib import Path

import pytest
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import Settings

from portal.accounts.models import User
from portal.accounts.signing_in.breached import is_breached, trouble_with
from tests.conftest import Cast

NAT = User(email="nat.reedmace@rivers.example", name="Natalie Reedmace")
NAT.joining = "Alder Beck Watch"


def refusal(password: str, user: User = NAT) -> str:
    """Why the password is not taken; empty where it is."""
    try:
        validate_password(password, user)
    except ValidationError as problem:
        return " ".join(problem.messages)
    return ""


@pytest.mark.parametrize(
    "password",
    [
        "otter weir lantern",
        "only small letters here",
        "ÄÖÜ ßtraße über Brücken",
        "🦦🐟 🪰🦐 🐌🪱 🌊🪨 💧🦆 🐸🦗",
        "nine herons " * 40,
        "  spaces at both ends  ",
    ],
)
def test_it_takes_long_ones_of_any_characters(password: str) -> None:
    assert refusal(password) == ""


@pytest.mark.parametrize(
    ("password", "words"),
    [
        ("fourteen chars", "too short"),
        ("aaaaaaaaaaaaaaaa", "repeats or counts on"),
        ("abcdefghijklmnopq", "repeats or counts on"),
        ("987654321098765432", "repeats or counts on"),
        ("121212121212121212", "repeats or counts on"),
        ("passwordpassword", "too common"),
        ("DragonDragonDragon", "too common"),
        ("NatalieReedmace!1", "similar to"),
        ("reedmace-natalie-2", "similar to"),
        ("nat.reedmace@rivers", "similar to"),
        ("alderbeckwatch2026", "similar to"),
        ("Rifflebook-password", "similar to"),
    ],
)
def test_it_refuses_what_is_guessed(password: str, words: str) -> None:
    assert words in refusal(password)


def test_it_asks_for_no_kinds_of_characters_and_nothing_runs_out(settings: Settings) -> None:
    names = [each["NAME"].rsplit(".", 1)[1] for each in settings.AUTH_PASSWORD_VALIDATORS]
    assert not [name for name in names if "Numeric" in name or "Complex" in name or "History" in name]


@pytest.mark.django_db
def test_the_names_of_ones_own_groups_are_no_password(cast: Cast) -> None:
    assert "similar" in refusal("alder beck watch 12", cast.volunteer)
    assert refusal("alder beck watch 12", cast.neighbour_volunteer) == ""


@pytest.mark.django_db
def test_a_field_lets_paste_and_keeps_what_is_long(client: Client, cast: Cast) -> None:
    cast.volunteer.set_password("seven otters by the weir")
    cast.volunteer.save()
    client.force_login(cast.volunteer)
    html = client.get("/account/password/change/").content.decode()
    field = html.split('name="password1"')[1].split(">")[0]
    assert "maxlength" not in field
    assert "onpaste" not in html
    assert 'autocomplete="new-password"' in field
    assert "show-password.js" in html
    assert "password2" not in html


@pytest.fixture(scope="module")
def leaked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A list as they are published: digests in order, with a count behind a colon."""
    digests = sorted(sha1(f"leaked password {n}".encode()).hexdigest().upper() for n in range(5000))
    file = tmp_path_factory.mktemp("lists") / "leaked.txt"
    file.write_text("".join(f"{each}:{n}\n" for n, each in enumerate(digests)))
    return file


class TestTheListOfLeakedPasswords:
    def test_every_one_is_found_and_no_other(self, leaked: Path) -> None:
        assert all(is_breached(f"leaked password {n}", str(leaked)) for n in range(0, 5000, 7))
        assert not any(is_breached(f"other password {n}", str(leaked)) for n in range(500))

    @given(st.sets(st.text(max_size=8), max_size=30), st.text(max_size=8), st.booleans())
    def test_a_small_list_too(
        self, tmp_path_factory: pytest.TempPathFactory, listed: set[str], asked: str, plain: bool
    ) -> None:
        listed = {each for each in listed if each.isprintable()}
        lines = sorted(sha1(each.encode()).hexdigest() for each in listed)
        file = tmp_path_factory.getbasetemp() / "small.txt"
        file.write_text(("\n" if plain else ":3\r\n").join([*lines, ""]))
        assert is_breached(asked, str(file)) == (asked in listed) or not asked.isprintable()
        assert all(is_breached(each, str(file)) for each in listed)

    def test_a_password_of_the_list_is_refused(self, leaked: Path, settings: Settings) -> None:
        assert refusal("leaked password 41") == ""
        settings.BREACHED_PASSWORDS = str(leaked)
        assert "stolen elsewhere" in refusal("leaked password 41")
        assert refusal("otter weir lantern") == ""

    def test_it_says_what_is_wrong_with_a_list(self, leaked: Path, tmp_path: Path) -> None:
        assert trouble_with(str(leaked)) == ""
        mixed = tmp_path / "mixed.txt"
        mixed.write_text("".join(reversed(leaked.read_text().splitlines(keepends=True))))
        assert "order" in trouble_with(str(mixed))
        assert "digests" in trouble_with(__file__)
        assert trouble_with(str(tmp_path / "none.txt"))
