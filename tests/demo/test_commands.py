"""The operator's commands: filling a demo and founding a group."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from portal.accounts.models import Group, Invitation, User
from portal.demo.world import PASSWORD
from portal.outbox.models import Message
from surveys.models import Visit
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db


def seed(*words: str) -> str:
    said = io.StringIO()
    call_command("seed_demo", "--groups", "1", "--months", "1", *words, stdout=said, stderr=io.StringIO())
    return said.getvalue()


def found(*words: str) -> str:
    said = io.StringIO()
    call_command("create_group", *words, stdout=said)
    return said.getvalue()


def test_it_fills_no_portal_in_production(settings: Any) -> None:
    settings.PRODUCTION = settings.DEMO = True
    with pytest.raises(CommandError, match="PRODUCTION"):
        seed("--yes")
    assert not Group.objects.exists()


def test_it_fills_no_portal_that_is_not_a_demo_unless_told_to(settings: Any) -> None:
    settings.DEMO = False
    with pytest.raises(CommandError, match="--yes"):
        seed()
    assert not Group.objects.exists()


def test_it_refuses_months_that_make_no_sense(settings: Any) -> None:
    settings.DEMO = True
    with pytest.raises(CommandError, match="--months"):
        seed("--months", "0")


def test_it_prints_the_logins_the_first_time_and_the_second(settings: Any, tmp_path: Path) -> None:
    settings.DEMO, settings.MEDIA_ROOT = True, tmp_path
    first, second = seed(), seed()
    assert first == second
    assert PASSWORD in first
    assert "coordinator" in first
    group = Group.objects.get()
    assert Visit.objects.of_group(group).exists()


def test_an_operator_founds_a_group_and_its_coordinator_is_invited() -> None:
    UserFactory(is_staff=True)
    said = found("river-watch", "River Watch", "--coordinator", "new@example.org")
    group = Group.objects.get(slug="river-watch")
    assert "River Watch is founded" in said
    assert Invitation.objects.of_group(group).get().role == "coordinator"
    assert Message.objects.of_group(group).get().to_address == "new@example.org"


def test_it_asks_who_founds_when_there_are_several_operators() -> None:
    UserFactory(is_staff=True, email="one@example.org")
    UserFactory(is_staff=True, email="two@example.org")
    with pytest.raises(CommandError, match="several"):
        found("river-watch", "River Watch", "--coordinator", "new@example.org")
    found("river-watch", "River Watch", "--coordinator", "new@example.org", "--operator", "TWO@example.org")
    invitation = Invitation.objects.of_group(Group.objects.get()).get()
    assert invitation.invited_by == User.objects.get(email="two@example.org")


@pytest.mark.parametrize("operator", [[], ["--operator", "volunteer@example.org"]])
def test_only_an_operator_founds_groups(operator: list[str]) -> None:
    UserFactory(email="volunteer@example.org")
    with pytest.raises(CommandError, match="operator"):
        found("river-watch", "River Watch", "--coordinator", "new@example.org", *operator)
    assert not Group.objects.exists()


@pytest.mark.parametrize(
    ("slug", "email", "words"),
    [
        ("River Watch!", "new@example.org", "^slug: "),
        ("river-watch", "no address", "^--coordinator: “no address” is no e-mail address"),
    ],
)
def test_it_says_what_is_wrong_with_a_name_or_an_address(slug: str, email: str, words: str) -> None:
    UserFactory(is_staff=True)
    with pytest.raises(CommandError, match=words):
        found(slug, "River Watch", "--coordinator", email)
    assert not Group.objects.exists()


def test_a_taken_name_is_refused() -> None:
    UserFactory(is_staff=True)
    found("river-watch", "River Watch", "--coordinator", "new@example.org")
    with pytest.raises(CommandError, match=r"^slug: there is a group “river-watch” already"):
        found("river-watch", "Another", "--coordinator", "other@example.org")
