"""Models and migrations of surveys and the audit trail agree, and the way back works."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ProjectState


@pytest.mark.parametrize("app", ["surveys", "audit"])
def test_it_has_a_migration_for_every_model_change(app: str) -> None:
    from django.apps import apps

    loader = MigrationLoader(None)
    changes = MigrationAutodetector(loader.project_state(), ProjectState.from_apps(apps)).changes(loader.graph)
    assert changes.get(app, []) == []


@pytest.mark.django_db(transaction=True)
def test_it_can_take_the_audit_guard_back_and_put_it_on_again() -> None:
    call_command("migrate", "audit", "0001", verbosity=0)
    assert _guards() == 0
    call_command("migrate", "audit", verbosity=0)
    assert _guards() == 1


def _guards() -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_trigger WHERE tgname = 'audit_append_only'")
        row: tuple[int] = cursor.fetchone()
    return row[0]
