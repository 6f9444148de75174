"""What does not fit is refused with its reason, and what was begun is taken back."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.db import Error, connection, transaction
from django.db.migrations.loader import MigrationLoader

from portal.backup import database, files, restoring
from portal.backup.database import Columns, Content
from portal.backup.problems import BackupProblem

ABOUT: dict[str, Any] = {"tables": {"t": {"columns": ["id"], "rows": 2, "sum": "5"}}, "files": ["a/p.jpg"]}
COLUMNS: Columns = {"t": ["id"]}


@pytest.fixture
def media(settings: LazySettings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def refill(named: list[str], stored: list[str] | None = None) -> restoring._Refill:
    with connection.cursor() as cursor:
        return restoring._Refill(cursor, COLUMNS, named, [] if stored is None else stored)


def test_a_backup_of_another_release_is_refused() -> None:
    known = [list(each) for each in MigrationLoader(None).disk_migrations]
    restoring._require_same_release(known)
    with pytest.raises(BackupProblem, match="only this release has"):
        restoring._require_same_release(known[1:])
    with pytest.raises(BackupProblem, match=r"only the backup has surveys\.9999_later"):
        restoring._require_same_release([*known, ["surveys", "9999_later"]])


@pytest.mark.parametrize("found", [Content(1, "5"), Content(2, "6")])
def test_rows_that_came_out_otherwise_are_found(found: Content) -> None:
    restoring._require_equal(ABOUT, {"t": Content(2, "5")}, ["a/p.jpg"])
    with pytest.raises(BackupProblem, match="t came out otherwise"):
        restoring._require_equal(ABOUT, {"t": found}, ["a/p.jpg"])


@pytest.mark.django_db
def test_what_copy_raises_is_an_error_that_the_commands_tell() -> None:
    with pytest.raises(Error, match="COPY"), transaction.atomic(), connection.cursor() as cursor:
        database.rows_in(cursor, "django_content_type", ["id"], [b"no number\n"])


def test_a_file_that_did_not_come_is_found() -> None:
    with pytest.raises(BackupProblem, match="Not all files"):
        restoring._require_equal(ABOUT, {"t": Content(2, "5")}, [])


@pytest.mark.django_db
def test_a_file_with_another_digest_is_found(media: Path) -> None:
    taken = refill(["a/p.jpg"])
    taken.take("files/a/p.jpg", io.BytesIO(b"photo"))
    assert (media / "a" / "p.jpg").read_bytes() == b"photo"
    taken.take("digests.json", io.BytesIO(json.dumps(taken.digests).encode()))
    with pytest.raises(BackupProblem, match="file came out otherwise"):
        taken.take("digests.json", io.BytesIO(json.dumps({"a/p.jpg": "0" * 64}).encode()))


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["b.jpg", "../out.jpg"])
def test_a_file_that_is_not_listed_is_not_stored(name: str, media: Path) -> None:
    with pytest.raises(BackupProblem, match="does not list"):
        refill(["a.jpg"]).take(f"files/{name}", io.BytesIO(b"x"))
    assert list(media.iterdir()) == []


def test_a_name_outside_the_store_is_refused(media: Path) -> None:
    with pytest.raises(BackupProblem, match="outside MEDIA_ROOT"):
        files.require_free(["../out.jpg"])


def test_a_file_that_is_there_is_never_replaced(media: Path) -> None:
    files.require_free(["p.jpg"])
    (media / "p.jpg").write_bytes(b"mine")
    with pytest.raises(BackupProblem, match=r"already holds p\.jpg"):
        files.require_free(["p.jpg"])


@pytest.mark.django_db
def test_files_of_a_restore_that_fails_are_taken_back(media: Path) -> None:
    with pytest.raises(BackupProblem, match="does not list"), restoring._files_undone() as stored:  # noqa: PT012
        begun = refill(["p.jpg"], stored)
        begun.take("files/p.jpg", io.BytesIO(b"x"))
        begun.take("files/q.jpg", io.BytesIO(b"x"))
    assert stored == ["p.jpg"]
    assert list(media.iterdir()) == []
