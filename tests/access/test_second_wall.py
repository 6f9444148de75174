"""The database keeps one group's rows from another, whatever a query asks for: for each table, by plain SQL."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import time
from typing import Any
from uuid import UUID

import pytest
from django.apps import apps
from django.db import ProgrammingError, connection, models, transaction
from django.urls import reverse

from portal.accounts.access import ACTIONS
from portal.accounts.models import Group
from portal.accounts.policies import UNWALLED, WIDE_ONLY, all_policies, is_walled, our_models, policies_of
from portal.accounts.walls import closed, wide, within
from surveys.models import ListTaxon, RecordingList
from tests.access import scene
from tests.access.rows import make_row
from tests.access.test_matrix import answers_to_a_foreign_site, opened_by_the_neighbours_slug
from tests.access.test_negative_controls import without_filter, without_rules, without_wall
from tests.access.world import World
from tests.conftest import Cast
from tests.owner import as_owner

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world
TABLES = sorted(each._meta.db_table for each in our_models() if is_walled(each))
# On the way to the group, where the model itself says none.
PATHS = {
    "accounts_group": "pk",
    "alerts_incident_visits": "incident__group",
    "rota_availability_near_sites": "availability__group",
    "surveys_listtaxon": "recording_list__group",
    "surveys_visit_corrected_by": "visit__group",
}
# Read by everybody; only writing is for the group alone.
OPEN_TO_READ = {"accounts_group"}
COLUMNS = """
SELECT string_agg(quote_ident(attname), ', ' ORDER BY attnum) FROM pg_attribute
WHERE attrelid = %s::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = ''
"""


def model_of(table: str) -> type[models.Model]:
    return next(each for each in apps.get_models(include_auto_created=True) if each._meta.db_table == table)


def ask(statement: str, *values: Any) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        found: list[tuple[Any, ...]] = cursor.fetchall()
    return found


def changed(statement: str, *values: Any) -> int:
    """How many rows a statement changes; undone at once."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, values)
        number: int = cursor.rowcount
        transaction.set_rollback(True)
    return number


def numbers_of(table: str, group: UUID) -> list[str]:
    """The rows that belong to a group, found by the models' own way and past every policy."""
    model = model_of(table)
    if table in WIDE_ONLY:
        rows = model._default_manager.all()
    elif table == "audit_entryaddress":
        entries = apps.get_model("audit", "AuditEntry").objects.filter(group=group)
        rows = model._default_manager.filter(entry__in=entries.values("pk"))
    else:
        path = PATHS.get(table) or str(getattr(model, "group_path", "group"))
        rows = model._base_manager.filter(**{path: group})
    with as_owner():
        return [str(each) for each in rows.values_list("pk", flat=True)]


def named(table: str, cast: Cast) -> dict[str, Any]:
    """What a row must say for itself, because the database asks for it."""
    said: dict[str, Any] = {
        "alerts_contacthours": {"closes": time(17)},
        "surveys_riverreport": {"too_high": True},
    }
    if table == "audit_entryaddress":
        return {"entry": numbers_of("audit_auditentry", cast.group.pk)[0]}
    return dict(said.get(table, {}))


def seen(table: str) -> set[str]:
    key = model_of(table)._meta.pk.column
    return {str(number) for (number,) in ask(f"SELECT {key} FROM {table}")}


def require_kept(table: str, theirs: list[str], scope: Callable[[], AbstractContextManager[None]]) -> None:
    """Within `scope`, which is not the rows' group, none of them is read, changed, deleted or put in again."""
    key = model_of(table)._meta.pk.column
    with as_owner():
        (columns,) = ask(COLUMNS, table)[0]
        (row,) = ask(f"SELECT to_jsonb(t)::text FROM {table} t WHERE {key}::text = %s", theirs[0])[0]
    with scope():
        if table not in OPEN_TO_READ:
            assert not seen(table) & set(theirs), "they are read"
        those = f"WHERE {key}::text = ANY (%s)"
        assert refused_or_none(f"UPDATE {table} SET {key} = {key} {those}", theirs), "they are changed"
        assert refused_or_none(f"DELETE FROM {table} {those}", theirs), "they are deleted"
        copied = (
            f"INSERT INTO {table} ({columns}) SELECT {columns} FROM jsonb_populate_record(NULL::{table}, %s)"
        )
        with (
            pytest.raises(ProgrammingError, match=r"row-level security|permission denied"),
            transaction.atomic(),
        ):
            ask(copied + f" RETURNING {key}", row)


def refused_or_none(statement: str, *values: Any) -> bool:
    try:
        return changed(statement, *values) == 0
    except ProgrammingError as refusal:
        return "permission denied" in str(refusal)


def test_every_table_has_a_policy_or_a_reason_for_none() -> None:
    tables = {each._meta.db_table: each for each in our_models()}
    without = {table for table, model in tables.items() if not policies_of(model)}
    assert without == set(UNWALLED), "say in policies.py why a table is of no group, or give it its way to one"
    assert all(UNWALLED.values())


@pytest.mark.django_db
def test_all_policies_stand_in_the_database() -> None:
    there = set(ask("SELECT tablename, policyname, cmd FROM pg_policies WHERE schemaname = current_schema()"))
    assert there == {(each.table, each.name, each.command) for each in all_policies()}
    closed_tables = ask("SELECT relname FROM pg_class WHERE relkind = 'r' AND relrowsecurity")
    assert {table for (table,) in closed_tables} == set(TABLES)


@pytest.mark.django_db
def test_the_suite_works_as_a_role_that_owns_nothing() -> None:
    asked = """
        SELECT rolsuper, rolbypassrls, rolcreaterole, rolcreatedb,
            EXISTS (SELECT FROM pg_class WHERE relowner = r.oid),
            EXISTS (SELECT FROM pg_auth_members WHERE member = r.oid)
        FROM pg_roles r WHERE rolname = current_user
    """
    assert ask(asked) == [(False,) * 6]


@pytest.mark.parametrize("table", TABLES)
def test_a_groups_rows_come_out_for_itself_and_for_nobody_else(world: World, cast: Cast, table: str) -> None:
    own = cast.neighbour.pk
    if not numbers_of(table, cast.group.pk):
        make_row(model_of(table), cast.group.pk, numbers_of, **named(table, cast))
    theirs = numbers_of(table, cast.group.pk)
    if table not in OPEN_TO_READ | set(WIDE_ONLY):
        with within(cast.group.pk):
            assert seen(table) >= set(theirs), "they come out for their own group"
        with within(own, cast.group.pk):
            assert seen(table) >= set(theirs), "and for whoever is in both"
    with wide("as the portal itself"):
        assert seen(table) >= set(theirs)
    require_kept(table, theirs, lambda: within(own))
    require_kept(table, theirs, closed)


def test_a_list_that_the_portal_comes_with_is_read_and_held_but_not_changed(cast: Cast) -> None:
    with within(cast.group.pk):
        assert RecordingList.objects.select_for_update().filter(group=None).exists()
        assert ListTaxon.objects.filter(recording_list__group=None).exists()
        with pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
            RecordingList.objects.filter(group=None).update(name="Ours")
        assert ListTaxon.objects.filter(recording_list__group=None).delete()[0] == 0


@pytest.mark.parametrize("table", ["surveys_visit", "surveys_taxoncount", "alerts_incident_visits"])
def test_it_would_be_noticed_that_a_policy_is_gone(world: World, cast: Cast, table: str) -> None:
    theirs = numbers_of(table, cast.group.pk)
    with as_owner(), connection.cursor() as cursor:
        # PostgreSQL alters no table while a foreign key still waits for its check.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY")
    with pytest.raises(AssertionError, match="they are read"):
        require_kept(table, theirs, lambda: within(cast.neighbour.pk))


def test_records_stay_hidden_when_every_filter_and_rule_of_the_views_is_gone(
    world: World, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One's own slug with a foreign number: what the first wall lets through, the second holds."""
    addresses = ("site_edit", "contact_edit", "trigger_set", "import_detail", "report_detail", "photo_file")
    without_rules(monkeypatch, ACTIONS)
    without_filter(monkeypatch, "of_group")
    assert [cell for name in addresses for cell in opened_by_the_neighbours_slug(world, cast, name)] == []
    without_wall(monkeypatch)
    assert all(opened_by_the_neighbours_slug(world, cast, name) for name in addresses), "they were there"


def test_a_foreign_site_answers_as_none_when_the_filters_are_gone(
    world: World, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_filter(monkeypatch, "of_group")
    without_filter(monkeypatch, "visible_to")
    foreign, unknown = answers_to_a_foreign_site(world, cast)
    assert foreign[0] == unknown[0]
    without_wall(monkeypatch)
    foreign, unknown = answers_to_a_foreign_site(world, cast)
    assert foreign[0] != unknown[0], "it was there"


LISTS = ("site_list", "visit_list", "incident_list", "people_list", "kit_list", "contact_list")


@pytest.mark.parametrize("page", LISTS)
def test_a_list_without_its_filter_shows_no_other_groups_rows(
    world: World, cast: Cast, client: Any, monkeypatch: pytest.MonkeyPatch, page: str
) -> None:
    client.force_login(cast.neighbour_coordinator)
    without_filter(monkeypatch, "of_group")
    url = reverse(page, args=[cast.neighbour.slug])
    marks = foreign_marks(cast.group)
    assert not [mark for mark in marks if mark in client.get(url).content.decode()]
    without_wall(monkeypatch)
    assert [mark for mark in marks if mark in client.get(url).content.decode()], "they would be there"


def foreign_marks(group: Group) -> set[str]:
    """What tells rows of a group on any list: numbers of its rows as addresses hold them, and its people."""
    tables = ("surveys_site", "surveys_visit", "alerts_incident", "surveys_kit", "alerts_agencycontact")
    return {each for table in tables for each in numbers_of(table, group.pk)} | {"Vera Example", "Owen Example"}
