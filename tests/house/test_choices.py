"""A column of words to choose from holds no other: PostgreSQL refuses what only a form would."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.contrib.postgres.operations import ValidateConstraint
from django.db import connection, models
from django.db.migrations.state import ProjectState

from portal.choices import AddKnown, known
from portal.jobs.models import Job
from tests.house.migrating import OURS

# Columns that no constraint limits, each with the reason.
FREE = {
    "audit.RowChange.operation": "the database's own trigger alone writes it, with every row of every table",
}
# The constraints of a column's words, as PostgreSQL itself has them: those that every row was held to.
KNOWING = """
    SELECT pg_get_expr(conbin, conrelid) FROM pg_constraint
    JOIN pg_attribute ON attrelid = conrelid AND attnum = ANY(conkey)
    WHERE conrelid = %s::regclass AND attname = %s AND contype = 'c' AND conname LIKE '%%known' AND convalidated
"""


def columns() -> Iterator[tuple[str, Any]]:
    """Every column of ours with choices."""
    for model in apps.get_models():
        if model.__module__.split(".")[0] in OURS:
            for field in model._meta.local_fields:
                if field.choices:
                    yield f"{model._meta.label}.{field.name}", field


def takes(field: Any, value: object) -> bool:
    """Whether PostgreSQL takes this value into the column, by itself, as far as constraints know its words."""
    table = field.model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(KNOWING, [table, field.column])
        rules = " AND ".join(["true", *(rule for (rule,) in cursor.fetchall())])
        row = f'jsonb_populate_record(NULL::"{table}", %s::jsonb)'
        # As in a check: what is neither true nor false passes.
        cursor.execute(f"SELECT ({rules}) IS NOT FALSE FROM {row}", [json.dumps({field.column: value})])
        return bool(cursor.fetchone()[0])


def held(field: Any) -> tuple[bool, bool]:
    """Whether the database refuses what is no choice, and whether it takes all that are."""
    is_text = isinstance(field, models.CharField)
    blank = [""] if is_text else []
    choices = [value for value, _label in field.flatchoices] + blank * field.blank
    others = {"?" if is_text else 99, *blank} - {*choices}
    return not any(takes(field, each) for each in others), all(takes(field, each) for each in choices)


@pytest.mark.django_db
def test_the_database_knows_the_choices_of_each_column() -> None:
    found = {name: held(field) for name, field in columns() if name not in FREE}
    assert {name: each for name, each in found.items() if each != (True, True)} == {}


@pytest.mark.django_db
def test_what_is_named_as_free_is_free() -> None:
    assert {name for name, field in columns() if name in FREE and held(field) == (False, True)} == {*FREE}


@pytest.mark.django_db
@pytest.mark.usefixtures("by_owner")
def test_a_migration_that_was_broken_off_adds_its_constraints_again() -> None:
    state = ProjectState.from_apps(apps)
    adding = AddKnown("job", known("job_kind_known", kind=["import"]))
    kind = Job._meta.get_field("kind")
    with connection.schema_editor(atomic=True) as editor:
        for _run in range(2):
            adding.database_forwards("jobs", editor, state, state)
        assert takes(kind, "?"), "no row that stood before was read"
        ValidateConstraint("job", "job_kind_known").database_forwards("jobs", editor, state, state)
    assert not takes(kind, "?")
