"""Growing into a database that is empty, or holds somebody else's groups."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from django.db import connection, transaction

from portal.accounts.models import Group
from portal.growing.extent import Extent, numbers
from portal.growing.growing import TABLES, grow
from portal.growing.visiting import LARGE
from tests.factories import GroupFactory
from tests.growing.built import built_as

SMALL = Extent(groups=1, sites=2, years=1, until=date(2026, 6, 1), seed=3)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("by_owner")]


def test_another_seed_gives_other_visits() -> None:
    assert numbers(SMALL.chance(1), 2) == numbers(SMALL.chance(1), 2)
    assert numbers(SMALL.chance(1), 2) != numbers(replace(SMALL, seed=4).chance(1), 2)


def test_the_same_seed_gives_the_same_rows() -> None:
    contents = []
    for _each in range(2):
        with transaction.atomic():
            grow(SMALL)
            contents.append([table_text(each) for each in TABLES])
            transaction.set_rollback(True)
    assert contents[0] == contents[1]


def table_text(model: Any) -> list[tuple[Any, ...]]:
    """The rows without the numbers and moments that the database itself gives."""
    own = {"transaction"} | ({model._meta.pk.column} if "Auto" in type(model._meta.pk).__name__ else set())
    columns = [each.column for each in model._meta.concrete_fields if each.column not in own]
    names = ", ".join(f'"{each}"' for each in columns)
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT ({names})::text FROM "{model._meta.db_table}" ORDER BY 1')
        found: list[tuple[Any, ...]] = cursor.fetchall()
    return found


def test_a_growth_that_fails_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_args: Any) -> int:
        raise RuntimeError("the disk is full")

    before = built_as(LARGE)
    monkeypatch.setattr("portal.growing.growing.write_incidents", fail)
    with pytest.raises(RuntimeError):
        grow(SMALL)
    assert not Group.objects.exists()
    assert built_as(LARGE) == before


def test_it_grows_beside_groups_of_others() -> None:
    GroupFactory(name="Somebody's own")
    connection.check_constraints()
    connection.cursor().execute("SET CONSTRAINTS ALL IMMEDIATE")
    grow(replace(SMALL, first=2), beside_others=True)
    assert Group.objects.count() == 2
