"""Every address of the URL resolver, every role, every method, against the one table of expectations."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache as kept_in_mind
from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests.access import scene
from tests.access.headers import kept, missing
from tests.access.policies import Methods
from tests.access.table import TABLE
from tests.access.table_accounts import ACCOUNT_TABLE
from tests.access.world import ROLES, World, unknown
from tests.chance import ALL, DAY, drawn
from tests.conftest import Cast
from tests.factories import data_for

WHOLE_TABLE: Mapping[str, Methods] = {**TABLE, **ACCOUNT_TABLE}
METHODS = ("get", "head", "post", "put", "patch", "delete", "options")
# What the end of a run tells: tests/conftest.py.
CELLS = "counted cells of the matrix (addresses × persons × methods)"
# One group's own member, a guest, another group's coordinator, somebody with a part in it, and anybody.
LIKELIEST = {"volunteer", "reviewer", "neighbour", "involved", "nobody"}
LET_IN = {200, 201, 202, 204, 302, 303, 409, 410, 422}


def addresses(resolver: URLResolver, above: tuple[str, ...] = ()) -> Iterator[tuple[str, list[str]]]:
    """Name and argument names of every address there is."""
    for pattern in resolver.url_patterns:
        arguments = (*above, *pattern.pattern.regex.groupindex)
        if isinstance(pattern, URLPattern):
            yield str(pattern.name), list(arguments)
        else:
            yield from addresses(pattern, arguments)


ADDRESSES = dict(addresses(get_resolver()))


once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


def signed_in(world: World, role: str) -> Client:
    """A client of that role; what it did before is forgotten, its session is that of the whole test."""
    client = Client(raise_request_exception=False)
    user = world.people[role]
    if user is not None and role not in world.sessions:
        client.force_login(user)
        world.sessions[role] = client.cookies[settings.SESSION_COOKIE_NAME].value
    elif user is not None:
        client.cookies[settings.SESSION_COOKIE_NAME] = world.sessions[role]
    return client


def addresses_of(modules: tuple[str, ...], resolver: URLResolver | None = None) -> Iterator[str]:
    """Names of the addresses whose views stand in these modules."""
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from addresses_of(modules, pattern)
        elif pattern.callback.__module__.startswith(modules):
            yield str(pattern.name)


def answer_of(client: Client, method: str, url: str, **sent: Any) -> Any:
    """The answer, with whatever it changed taken back, and as if nobody had asked before."""
    cache.clear()
    return next_answer_of(client, method, url, **sent)


def next_answer_of(client: Client, method: str, url: str, **sent: Any) -> Any:
    """The same for somebody who has just asked: a page that was set for the one method is kept for the next."""
    with transaction.atomic():
        answer: Any = getattr(client, method)(url, **sent)
        # Not answer.close(), which would close the test's own connection to the database.
        for closer in answer._resource_closers:
            closer()
        transaction.set_rollback(True)
    return answer


def classify(answer: HttpResponse) -> str:
    """The word of the table for an answer; an answer it has no word for keeps its number."""
    if answer.status_code == 302 and answer["Location"].startswith("/account/login/?"):
        return "login"
    return "ok" if answer.status_code in LET_IN else str(answer.status_code)


def expected(methods: Methods, method: str, role: str) -> str:
    """What the table says; a method it does not list is refused, after the sign-in where there is one."""
    if method in methods:
        return methods[method][role]
    for listed in methods.values():
        if listed[role] == "login" or ("options" in methods and listed["nobody"] == "401" == listed[role]):
            return listed[role]
    return "405"


def tried_as(role: str, name: str) -> list[str]:
    """The methods by which the suite asks one address as one role; the long tests leave none out.

    Of all who get the same answer, the first is tried, whoever is likeliest to slip in where a rule fails, and
    another that the day draws. HEAD is answered by the view of GET, and what an address does not take by
    Django's dispatch: two of these methods are drawn, and one role stands for all that get the same answer,
    at each address another one.
    """
    asked = {each: tried_where_taken(name, each) for each in TABLE[name] if each != "head"}
    asked |= {each: _standing_for_all(name, each) for each in _drawn_of_dispatch(name)}
    return [each for each in METHODS if role in asked.get(each, ())]


@kept_in_mind
def _drawn_of_dispatch(name: str, day: str = DAY) -> list[str]:
    return drawn([each for each in METHODS if each == "head" or each not in TABLE[name]], 2, name, day)


@kept_in_mind
def tried_where_taken(name: str, method: str, day: str = DAY) -> set[str]:
    """The roles as which the suite asks an address by a method that it takes."""
    tried: set[str] = set()
    for answer, roles in _alike(WHOLE_TABLE[name], method).items():
        always = {roles[0]} if answer == "ok" else {roles[0]} | (LIKELIEST & {*roles})
        others = [role for role in roles if role not in always]
        tried |= always | {*drawn(others, 1, f"{method} {name} {answer}", day)}
    return tried


@kept_in_mind
def _standing_for_all(name: str, method: str) -> set[str]:
    place = list(TABLE).index(name) + METHODS.index(method)
    return {roles[place % len(roles)] for roles in _alike(TABLE[name], method).values()}


def _alike(methods: Methods, method: str) -> dict[str, list[str]]:
    """The roles by the answer that they get."""
    alike: dict[str, list[str]] = {}
    for role in ROLES:
        alike.setdefault(expected(methods, method, role), []).append(role)
    return alike


def wrong_cells(world: World, role: str, name: str, methods: Iterable[str] = METHODS) -> list[str]:
    """Where one address answers one role otherwise than the table says, or without its guarding headers."""
    client = signed_in(world, role)
    url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
    cache.clear()
    answers = {method: next_answer_of(client, method, url) for method in methods}
    unguarded = [
        f"{method} {name} as {role}: {each}"
        for method, answer in answers.items()
        for each in missing(answer) + ([] if role == "nobody" else kept(answer, name))
    ]
    wanted = {method: expected(TABLE[name], method, role) for method in methods}
    return unguarded + [
        f"{method} {name} as {role}: {got}, not {wanted[method]}"
        for method, answer in answers.items()
        if (got := classify(answer)) != wanted[method]
    ]


def opened_by_the_neighbours_slug(world: World, cast: Cast, name: str) -> list[str]:
    """Where a record of the group opens under the address of another group to that group's coordinator."""
    real = world.arguments(name, ADDRESSES[name])
    if "slug" not in real or unknown(real) == real or name.startswith("public"):
        return []
    url = reverse(name, kwargs=real | {"slug": cast.neighbour.slug})
    # To put a visit under a number of one's own choice is everybody's right.
    asked = set(TABLE[name]) - {"options"} - ({"put"} if name == "api_visit" else set())
    answers = {each: classify(answer_of(signed_in(world, "neighbour"), each, url)) for each in sorted(asked)}
    return [f"{method} {name}: {got}" for method, got in answers.items() if got != "404"]


def answers_to_a_foreign_site(world: World, cast: Cast) -> list[tuple[int, str]]:
    """A neighbour's submission that names a site of the group, and one that names no site there is."""
    client = signed_in(world, "neighbour")
    answers = []
    for number in (cast.site.pk, uuid4()):
        url = reverse("api_visit", kwargs={"slug": cast.neighbour.slug, "number": uuid4()})
        data = data_for(cast.site) | {"site": str(number)}
        del data["id"]
        answers.append(put_answer(client, url, data))
    return answers


def put_answer(client: Client, url: str, data: dict[str, Any]) -> tuple[int, str]:
    with transaction.atomic():
        answer: Any = client.put(url, data, content_type="application/json")
        transaction.set_rollback(True)
    return answer.status_code, answer.content.decode()


def test_no_address_is_forgotten_and_none_is_made_up() -> None:
    known = set(TABLE) | set(ACCOUNT_TABLE)
    assert set(ADDRESSES) - known == set(), "say in tests/access/table.py who may go there"
    assert known - set(ADDRESSES) == set(), "the table names addresses that are gone"


def test_every_address_has_a_name_of_its_own() -> None:
    names = [name for name, _arguments in addresses(get_resolver())]
    assert sorted(names) == sorted(set(names))
    assert "None" not in names


@pytest.mark.parametrize("role", ROLES)
def test_each_role_gets_the_answer_of_the_table(world: World, role: str, record_property: Any) -> None:
    methods = {name: tried_as(role, name) for name in TABLE}
    wrong = [cell for name in TABLE for cell in wrong_cells(world, role, name, methods[name])]
    record_property(CELLS, sum(map(len, methods.values())))
    assert wrong == []


@pytest.mark.long
@pytest.mark.parametrize("role", ROLES)
def test_each_role_gets_the_answer_of_the_table_by_each_method(
    world: World, role: str, record_property: Any
) -> None:
    wrong = [cell for name in TABLE for cell in wrong_cells(world, role, name)]
    record_property(CELLS, len(TABLE) * len(METHODS))
    assert wrong == []


def test_each_answer_to_each_method_is_tried_and_whoever_is_likeliest_to_slip_in() -> None:
    for name, methods in TABLE.items():
        tried = {(method, role) for role in ROLES for method in tried_as(role, name)}
        taken = set(methods) - {"head"}
        refused = {(each, role) for each in taken for role in LIKELIEST if methods[each][role] != "ok"}
        assert tried >= refused
        for method in taken | {asked for asked, _role in tried}:
            answers = {expected(methods, method, role) for role in ROLES}
            assert {expected(methods, method, role) for asked, role in tried if asked == method} == answers


def test_in_the_course_of_days_everybody_is_tried_and_each_method() -> None:
    days = [f"2026-{month:02}-{day:02}" for month in (1, 2, 3) for day in range(1, 29)]
    for name in ("methods", "group_desk", "site_edit", "public_group"):
        tried = [tried_where_taken(name, "get", day) for day in days]
        assert set().union(*tried) == {*ROLES}
        assert ALL or max(map(len, tried)) < len(ROLES)
        methods = {each for day in days for each in _drawn_of_dispatch(name, day)}
        assert methods == {*METHODS} - {*TABLE[name]} | {"head"}


@pytest.mark.parametrize("role", ROLES)
def test_the_sign_in_pages_are_open_to_whom_they_should(world: World, role: str, record_property: Any) -> None:
    cells = [
        (name, method)
        for name, methods in ACCOUNT_TABLE.items()
        for method in methods
        if role in tried_where_taken(name, method)
    ]
    record_property(CELLS, len(cells))
    wrong = []
    for name, method in cells:
        url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
        got, wanted = (
            classify(answer_of(signed_in(world, role), method, url)),
            ACCOUNT_TABLE[name][method][role],
        )
        if got != wanted:
            wrong.append(f"{method} {name} as {role}: {got}, not {wanted}")
    assert wrong == []


def test_another_groups_ids_answer_exactly_as_ids_that_do_not_exist(world: World) -> None:
    """A stranger cannot even learn that a record is there."""
    compared = 0
    for name, methods in TABLE.items():
        real = world.arguments(name, ADDRESSES[name])
        made_up = unknown(real)
        if real == made_up:
            continue
        # What else is answered, the table says of each.
        for method in [each for each in methods if methods[each]["neighbour"] == "404"]:
            client = signed_in(world, "neighbour")
            there = answer_of(client, method, reverse(name, kwargs=real))
            nowhere = answer_of(client, method, reverse(name, kwargs=made_up))
            compared += 1
            assert there.status_code == nowhere.status_code == 404, name
            assert _bare(there) == _bare(nowhere), name
    assert compared > 40


def _bare(answer: HttpResponse) -> str:
    """The text without what differs at every request."""
    return "\n".join(line for line in answer.content.decode().splitlines() if "csrf" not in line.lower())


def test_the_neighbours_own_address_does_not_open_the_groups_records(world: World, cast: Cast) -> None:
    """The slug of one group with a record of another: 404, even for a member of both roles' rank."""
    assert [cell for name in TABLE for cell in opened_by_the_neighbours_slug(world, cast, name)] == []


def test_a_foreign_site_in_a_submission_answers_as_one_that_does_not_exist(world: World, cast: Cast) -> None:
    foreign, unknown_one = answers_to_a_foreign_site(world, cast)
    assert foreign == unknown_one
    assert foreign[0] == 422
