"""One cast for all tests: two groups that must never see each other."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.conf import LazySettings
from django.db import connection
from django.utils import translation
from hypothesis import settings as hypothesis_settings
from pytest_django import DjangoDbBlocker

from portal.accounts.access import Person
from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.walls import wide
from surveys.models import Site
from tests.chance import ALL, DAY
from tests.emptying import empty_after_tests
from tests.factories import GroupFactory, SiteFactory, UserFactory, family_list, person_for
from tests.migrated import TEMPLATE
from tests.owner import as_owner, step_down, step_up
from tests.second_factor import for_all_tests

# How long an example takes says more of the machine's other work than of the code.
hypothesis_settings.register_profile("house", deadline=None)
hypothesis_settings.load_profile("house")
empty_after_tests()


@pytest.fixture(scope="session", autouse=True)
def _own_hands() -> Iterator[None]:
    """What a test writes and reads itself is of any group; requests and tasks of it begin with none."""
    with wide("a test's own hands"):
        yield


@dataclass(frozen=True)
class Cast:
    """Alder Beck Watch with its people and a site without a trigger, and a neighbour with its own."""

    group: Group
    site: Site
    coordinator: User
    second_coordinator: User
    volunteer: User
    other_volunteer: User
    neighbour: Group
    neighbour_site: Site
    neighbour_coordinator: User
    neighbour_volunteer: User
    stranger: User

    def person(self, role: str) -> Person:
        """The acting person behind one of the accounts above."""
        return person_for(getattr(self, role))


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


# By their place in the cast: name, the group and role they have.
PEOPLE = {
    "coordinator": ("Cora", "alder-beck", Role.COORDINATOR),
    "second_coordinator": ("Cole", "alder-beck", Role.COORDINATOR),
    "volunteer": ("Vera", "alder-beck", Role.VOLUNTEER),
    "other_volunteer": ("Owen", "alder-beck", Role.VOLUNTEER),
    "neighbour_coordinator": ("Nora", "withy-brook", Role.COORDINATOR),
    "neighbour_volunteer": ("Noel", "withy-brook", Role.VOLUNTEER),
    "stranger": ("Sal", "", ""),
}


def make_cast() -> Cast:
    """The whole cast by few queries: most tests of the suite begin with it."""
    group = GroupFactory.build(name="Alder Beck Watch", slug="alder-beck")
    neighbour = GroupFactory.build(name="Withy Brook Watch", slug="withy-brook")
    groups = {each.slug: each for each in Group.objects.bulk_create([group, neighbour])}
    families = family_list()
    site = SiteFactory.build(group=group, code="AB1", name="Stepping stones", recording_list=families)
    neighbour_site = SiteFactory.build(
        group=neighbour, code="WB1", name="Withy ford", river="Withy Brook", recording_list=families
    )
    Site.objects.bulk_create([site, neighbour_site])
    people = {place: _account(name) for place, (name, _slug, _role) in PEOPLE.items()}
    User.objects.bulk_create(people.values())
    Membership.objects.bulk_create(
        Membership(group=groups[slug], user=people[place], role=role)
        for place, (_name, slug, role) in PEOPLE.items()
        if slug
    )
    return Cast(group=group, site=site, neighbour=neighbour, neighbour_site=neighbour_site, **people)


def _account(name: str) -> User:
    user: User = UserFactory.build(name=f"{name} Example", email=f"{name.lower()}@example.org")
    user.set_unusable_password()
    return user


@pytest.fixture
def by_owner(request: pytest.FixtureRequest) -> Iterator[None]:
    """The whole test works as the owner of the tables: with triggers, backups, or tampering."""
    if _commits(request):
        request.getfixturevalue("transactional_db")
        step_up()
        yield
        step_down()
    else:
        request.getfixturevalue("db")
        with as_owner():
            yield


def _commits(request: pytest.FixtureRequest) -> bool:
    marked = request.node.get_closest_marker("django_db")
    return "transactional_db" in request.fixturenames or bool(marked and marked.kwargs.get("transaction"))


@pytest.fixture(autouse=True)
def _quick_passwords(settings: LazySettings) -> None:
    """Argon2 is slow by design; tests that sign in need no such strength."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True, scope="session")
def _with_second_factor() -> Iterator[None]:
    """Coordinators sign in with two factors; tests about that take it off again."""
    with for_all_tests():
        yield


@pytest.fixture(autouse=True)
def _spoken() -> None:
    """The language of the last page that a test read is no matter of the next."""
    translation.deactivate()


@pytest.fixture(autouse=True)
def _rested(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a mail server did in one test is no matter of the next."""
    monkeypatch.setattr("portal.outbox.resting._rest_until", 0.0)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings: None) -> None:
    """The databases of the tests begin as copies of the migrated one."""
    connection.settings_dict["TEST"]["TEMPLATE"] = os.environ.get(TEMPLATE)


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Tests work as the portal does; at the end no thread left behind keeps the database from being dropped."""
    with django_db_blocker.unblock():
        step_down()
    yield
    with django_db_blocker.unblock():
        step_up()
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What takes longest begins, past pytest-django, which has tests without a database last."""
    items.sort(key=lambda item: item.get_closest_marker("first") is None)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Tell what tests have counted with `record_property("counted …", number)`, also where workers ran them."""
    told: dict[str, int] = {}
    for report in (each for state in ("passed", "failed") for each in terminalreporter.stats.get(state, ())):
        for name, number in getattr(report, "user_properties", ()):
            if name.startswith("counted "):
                told[name] = told.get(name, 0) + int(number)
    for name, number in sorted(told.items()):
        terminalreporter.write_line(f"{name.removeprefix('counted ')}: {number:,}")
    if not ALL:
        terminalreporter.write_line(f"Of the matrix, pages and junk a part was drawn: DRAWN_ON={DAY}")
