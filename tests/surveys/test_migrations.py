"""Models and migrations of surveys and the audit trail agree, and the way back works."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ProjectState

from portal.jobs.models import Job
from tests.conftest import Cast

pytestmark = pytest.mark.usefixtures("by_owner")


@pytest.mark.parametrize("app", ["surveys", "audit", "jobs"])
def test_it_has_a_migration_for_every_model_change(app: str) -> None:
    from django.apps import apps

    loader = MigrationLoader(None)
    changes = MigrationAutodetector(loader.project_state(), ProjectState.from_apps(apps)).changes(loader.graph)
    assert changes.get(app, []) == []


@pytest.mark.django_db(transaction=True)
def test_it_can_take_the_audit_guard_back_and_put_it_on_again() -> None:
    call_command("migrate", "audit", "0001", verbosity=0)
    assert _guarded() == []
    call_command("migrate", verbosity=0)
    assert _guarded() == ["audit_auditentry", "audit_link"]


def _guarded() -> list[str]:
    """The tables that are only ever added to, one entry for each trigger."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text FROM pg_trigger WHERE tgname = 'audit_append_only' ORDER BY 1"
        )
        return [table for (table,) in cursor.fetchall()]


@pytest.mark.django_db(transaction=True)
def test_runs_of_scoring_anew_become_jobs_and_back(cast: Cast) -> None:
    job = Job.objects.create(
        group=cast.group, kind="rescoring", label="x", reason="New version.", state="done", done=3, total=3
    )
    call_command("migrate", "surveys", "0011", verbosity=0)
    assert not Job.objects.of_group(cast.group).exists()
    # All of it: going back took what other apps built on it along.
    call_command("migrate", verbosity=0)
    again = Job.objects.of_group(cast.group).get()
    assert (again.pk, again.reason, again.state, again.done) == (job.pk, "New version.", "done", 3)
    assert again.created_at == job.created_at
