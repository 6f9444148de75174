"""Every address that is read asks the database seldom; walked from the URL resolver."""

from __future__ import annotations

from statistics import median
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.access import scene
from tests.access.ceilings import ASKED_BY, CEILINGS, MOST, STILL_ABOVE, USUAL
from tests.access.table import ACCOUNT_TABLE, TABLE
from tests.access.test_matrix import ADDRESSES, signed_in
from tests.access.world import World

READERS = ("coordinator", "volunteer", "contact", "nobody")
WHOLE_TABLE = {**TABLE, **ACCOUNT_TABLE}

pytestmark = pytest.mark.django_db
once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


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


def asked_by(world: World, name: str) -> int:
    """How often the address asks the database, for whoever has the most to read there."""
    client = signed_in(world, _asker(name))
    url = reverse(name, kwargs=world.arguments(name, ADDRESSES[name]))
    cache.clear()
    with transaction.atomic(), CaptureQueriesContext(connection) as seen:
        answer: Any = client.get(url)
        assert answer.status_code in (200, 302), name
        if answer.streaming:
            assert b"".join(answer.streaming_content)
        asked = len(seen.captured_queries)
        transaction.set_rollback(True)
    for closer in answer._resource_closers:
        closer()
    return asked


def test_every_address_that_is_read_has_a_ceiling() -> None:
    assert read_by_somebody() == set(CEILINGS)


def test_the_ceilings_are_low() -> None:
    assert {name: most for name, most in CEILINGS.items() if most > MOST}.keys() <= set(STILL_ABOVE)
    assert median(CEILINGS.values()) <= USUAL


def test_no_address_asks_more_than_its_ceiling(world: World) -> None:
    asked = {name: asked_by(world, name) for name in CEILINGS}
    assert {name: number for name, number in asked.items() if number > CEILINGS[name]} == {}


def test_it_counts_what_a_page_asks(world: World) -> None:
    """A session, an account and its memberships are the least that a page for members needs."""
    assert asked_by(world, "people_list") > 3
