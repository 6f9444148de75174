"""Every address that is read asks the database seldom, and no more often for 10,000 rows than for ten."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from statistics import median
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, models, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import DjangoDbBlocker

from portal.accounts.prepared import Prepared
from surveys.models import Visit
from tests.access import scene
from tests.access.ceilings import (
    ASKED_BY,
    CEILINGS,
    DOCUMENTS,
    LISTS,
    LISTS_OF_REGISTERS,
    MOST,
    MOST_BYTES,
    USUAL,
)
from tests.access.many import COPIED, LARGE, REGISTERS, analyse, burden, tables, with_templates, write_many
from tests.access.plans import full_scans
from tests.access.scene import Scene
from tests.access.table import TABLE
from tests.access.table_accounts import ACCOUNT_TABLE
from tests.access.test_matrix import ADDRESSES, signed_in
from tests.access.world import World
from tests.conftest import Cast
from tests.factories import submit
from tests.lasting import lasting_rows

READERS = ("coordinator", "volunteer", "contact", "nobody")
WHOLE_TABLE = {**TABLE, **ACCOUNT_TABLE}

pytestmark = pytest.mark.django_db
once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


@dataclass(frozen=True)
class Cost:
    """What one reading of an address took."""

    queries: tuple[str, ...]
    status: int
    size: int


@dataclass(frozen=True)
class Costs:
    """By address: with ten rows of everything, with ten among 10,000 of another group, with 10,000.

    `large` are the lists of a group that has 10,000 members and sites as well.
    """

    few: dict[str, Cost]
    among_many: dict[str, list[str]]
    many: dict[str, Cost]
    large: dict[str, Cost]


def _asker(name: str) -> str:
    """Who has the most to read there."""
    answers = WHOLE_TABLE[name]["get"]
    return ASKED_BY.get(name) or next(role for role in READERS if answers[role] == "ok")


def read_by_somebody() -> set[str]:
    """The addresses of the URL resolver that anybody may read."""
    return {
        name
        for name in ADDRESSES
        if any(WHOLE_TABLE[name].get("get", {}).get(role) == "ok" for role in READERS)
    }


def cost_of(world: World, name: str) -> Cost:
    client = signed_in(world, _asker(name))
    url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
    cache.clear()
    with transaction.atomic(), CaptureQueriesContext(connection) as seen:
        answer: Any = client.get(url)
        size = len(b"".join(answer.streaming_content) if answer.streaming else answer.content)
        # A file that is taken is written down in two rows, which is no asking.
        asked = tuple(
            each["sql"] for each in seen.captured_queries if not each["sql"].startswith('INSERT INTO "audit_')
        )
        transaction.set_rollback(True)
    for closer in answer._resource_closers:
        closer()
    return Cost(asked, answer.status_code, size)


@pytest.fixture(scope="module")
def costs(once: Scene, django_db_blocker: DjangoDbBlocker) -> Iterator[Costs]:
    scene = deepcopy(once)
    own, other = scene.cast.group, scene.cast.neighbour
    with lasting_rows(django_db_blocker):
        world = with_templates(scene.world, own)
        write_many(world, own, 1, 10)
        few = {name: cost_of(world, name) for name in CEILINGS}
        write_many(world, other, 20_001, 30_000)
        analyse()
        plans = {
            name: full_scans(cost_of(world, name).queries, tables()) for name in {*LISTS, *LISTS_OF_REGISTERS}
        }
        write_many(world, own, 11, 60, REGISTERS)
        write_many(world, own, 11, 10_000, COPIED.keys() - set(REGISTERS))
        burden(scene)
        analyse()
        many = {name: cost_of(world, name) for name in CEILINGS.keys() - DOCUMENTS}
        write_many(world, own, 61, 10_000, LARGE)
        analyse()
        yield Costs(few, plans, many, {name: cost_of(world, name) for name in LISTS_OF_REGISTERS})


def test_every_address_that_is_read_has_a_ceiling() -> None:
    assert read_by_somebody() == set(CEILINGS)


def test_the_ceilings_are_low() -> None:
    assert {name: most for name, most in CEILINGS.items() if most > MOST} == {}
    assert median(CEILINGS.values()) <= USUAL


def test_no_address_asks_more_than_its_ceiling(costs: Costs) -> None:
    asked = {name: len(cost.queries) for name, cost in costs.few.items()}
    assert {name: number for name, number in asked.items() if number > CEILINGS[name]} == {}
    # All have been read: a page that is refused asks little.
    assert {name: cost.status for name, cost in costs.few.items() if cost.status not in (200, 302)} == {}


def test_no_address_asks_more_for_ten_thousand_rows_than_for_ten(costs: Costs) -> None:
    grown = {
        name: (len(costs.few[name].queries), len(cost.queries))
        for name, cost in costs.many.items()
        if len(cost.queries) != len(costs.few[name].queries)
    }
    assert grown == {}
    # A page of 10,000 may hold none of those for whom there is more to ask.
    large = {name: (len(costs.many[name].queries), len(cost.queries)) for name, cost in costs.large.items()}
    assert {name: (few, many) for name, (few, many) in large.items() if many > few} == {}


def test_a_list_of_ten_thousand_rows_is_shown_by_pages(costs: Costs) -> None:
    sizes = {name: (costs.many | costs.large)[name].size for name in {*LISTS, *LISTS_OF_REGISTERS}}
    assert {name: size for name, size in sizes.items() if size > MOST_BYTES} == {}


def test_a_list_finds_its_rows_among_those_of_other_groups_by_an_index(costs: Costs) -> None:
    assert {name: scans for name, scans in costs.among_many.items() if scans} == {}


def test_it_would_notice_a_list_without_an_index(costs: Costs) -> None:
    unindexed = Visit.objects.across_groups("test").filter(notes="x")
    with CaptureQueriesContext(connection) as seen:
        assert not list(unindexed)
    assert full_scans([each["sql"] for each in seen.captured_queries], tables())


def test_it_would_notice_a_page_that_asks_row_by_row(costs: Costs) -> None:
    """The rows are really there: without its prefetching, a list would need a query for each."""
    with CaptureQueriesContext(connection) as seen:
        for visit in Visit.objects.across_groups("test")[:12]:
            assert visit.scores.exists()
    assert len(seen) > 12


def test_it_counts_what_a_page_asks(costs: Costs) -> None:
    """A session, an account and its memberships are the least that a page for members needs."""
    assert len(costs.few["people_list"].queries) > 3


# Between them and the taking in of a visit they ask most of the kept statements.
WITH_KEPT = (
    *("group_desk", "site_detail", "trigger_set", "visit_review", "visit_submit", "visit_list"),
    *("river_report", "bank_home", "bank_site", "planned_visit", "session_list"),
)


def _told(row: object) -> object:
    """A record by all that was read into it, as two are equal by their keys alone."""
    if not isinstance(row, models.Model):
        return row
    return {name: value for name, value in vars(row).items() if not name.startswith("_")}


def test_a_kept_statement_finds_on_a_page_what_django_finds_with_a_new_one(
    world: World, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What an upgrade of Django might break in `prepared` is seen here."""
    ask, asked, wrong = Prepared.__call__, set(), set()

    def both(query: Prepared[Any, Any], *words: Any, **named: Any) -> list[Any]:
        kept, plain = ask(query, *words, **named), list(query.plainly(*words, **named))
        asked.add(query)
        if [_told(row) for row in kept] != [_told(row) for row in plain]:
            wrong.add(query.build.__qualname__)
        return kept

    monkeypatch.setattr(Prepared, "__call__", both)
    for name in WITH_KEPT:
        assert cost_of(world, name).status == 200
    submit(cast.person("volunteer"), cast.site)
    assert wrong == set()
    # Three in four of them; the others are asked while a sheet is loaded, or a mail is written.
    assert len(asked) >= 33
