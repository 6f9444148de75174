"""The data folder in which the migrations have been done, from which each run begins."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from portal.embedded import place
from tests import migrated


@pytest.fixture
def project(tmp_path: Path) -> Path:
    for name in ("portal/audit/migrations/0001_first.py", "portal/audit/sql/note.sql", "requirements-dev.txt"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("one")
    return tmp_path


@pytest.mark.django_db
def test_the_databases_of_this_run_began_as_copies_of_a_migrated_one() -> None:
    assert connection.settings_dict["TEST"]["TEMPLATE"] == place.PRODUCT
    executor = MigrationExecutor(connection)
    assert executor.migration_plan(executor.loader.graph.leaf_nodes()) == []


@pytest.mark.parametrize(
    "changed", ["portal/audit/migrations/0001_first.py", "portal/audit/sql/note.sql", "requirements-dev.txt"]
)
def test_another_migration_or_package_is_another_folder(project: Path, changed: str) -> None:
    before = migrated.digest_of(project)
    (project / changed).write_text("two")
    assert migrated.digest_of(project) != before


def test_a_new_migration_is_another_folder_and_a_test_is_not(project: Path) -> None:
    before = migrated.digest_of(project)
    (project / "portal/audit/models.py").write_text("no migration")
    assert migrated.digest_of(project) == before
    (project / "portal/audit/migrations/0002_second.py").write_text("")
    assert migrated.digest_of(project) != before


def test_of_two_runs_that_make_it_at_once_the_first_counts(tmp_path: Path) -> None:
    for run in ("first", "second"):
        (tmp_path / run / "data").mkdir(parents=True)
        (tmp_path / run / "data" / "PG_VERSION").write_text(run)
        migrated._put_whole(tmp_path / run, tmp_path / "kept")
        assert not (tmp_path / run).exists()
    assert (tmp_path / "kept" / "PG_VERSION").read_text() == "first"
