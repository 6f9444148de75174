"""A world of one record of every kind is saved, put back into another database, and is the same."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from subprocess import CompletedProcess
from urllib.parse import urlsplit

import psycopg
import pytest
from django.conf import LazySettings
from django.core.files.storage import default_storage
from django.db import connection
from psycopg import sql

from portal.audit.models import AuditEntry
from portal.backup import database, sealing
from portal.embedded.place import PROJECT
from surveys.models import Photo
from tests.access.world import build_world
from tests.commands import in_this_process
from tests.conftest import Cast

pytestmark = pytest.mark.usefixtures("by_owner")

ELSEWHERE = "restored_elsewhere"
PUBLIC, SECRET = sealing.new_key()
TABLES = "SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace ORDER BY 1"
# Whatever a restore has to put back besides rows.
STANDING = """
SELECT 'sequence', sequencename, coalesce(last_value, 0)::text FROM pg_sequences WHERE schemaname = 'public'
UNION ALL SELECT 'trigger', tgrelid::regclass || ' ' || tgname, tgenabled::text FROM pg_trigger
WHERE NOT tgisinternal
UNION ALL SELECT 'constraint', conrelid::regclass || ' ' || conname, convalidated::text FROM pg_constraint
WHERE connamespace = 'public'::regnamespace ORDER BY 1, 2
"""


def address(database: str) -> str:
    """The server of the tests, by the name of a database on it."""
    server = urlsplit(os.environ["DATABASE_URL"])
    return server._replace(path=f"/{database}").geturl()


def database_hash(database: str) -> tuple[str, int]:
    """SHA-256 over all rows, sequences and triggers, reckoned apart from the product, and how many rows."""
    digest, rows = hashlib.sha256(), 0
    with psycopg.connect(address(database)) as there:
        for (table,) in there.execute(TABLES).fetchall():
            found = there.execute(sql.SQL("SELECT t::text FROM {} t").format(sql.Identifier(table))).fetchall()
            rows += len(found)
            digest.update(repr((table, sorted(found))).encode())
        digest.update(repr(there.execute(STANDING).fetchall()).encode())
    return digest.hexdigest(), rows


def files_under(folder: Path) -> dict[str, str]:
    """SHA-256 of every file by its path below `folder`."""
    found = [path for path in folder.rglob("*") if path.is_file()]
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in found}


@contextmanager
def new_database() -> Iterator[str]:
    """An empty database beside that of the test."""
    name = f"{ELSEWHERE}_{os.getpid()}"
    with psycopg.connect(address("postgres"), autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield name
        finally:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


def restore(path: Path, database: str, media: Path, key: str = SECRET) -> CompletedProcess[str]:
    """`manage.py restore` as an operator runs it on another machine."""
    where = {"DATABASE_URL": address(database), "MEDIA_ROOT": str(media), "BACKUP_KEY": key}
    return subprocess.run(
        [sys.executable, "manage.py", "restore", str(path)],
        cwd=PROJECT,
        env=os.environ | where,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@dataclass
class Saved:
    path: Path
    media: Path
    database: str
    said: str


@pytest.fixture
def saved(
    transactional_db: None,
    cast: Cast,
    settings: LazySettings,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Saved:
    settings.MEDIA_ROOT = tmp_path / "media"
    build_world(cast)
    monkeypatch.setenv("BACKUP_KEY", PUBLIC)
    (tmp_path / "media" / "stray.txt").write_text("No row names this.")
    done = in_this_process(capsys, "backup", str(tmp_path / "b.age"))
    assert done.returncode == 0, done.stderr
    return Saved(
        tmp_path / "b.age", tmp_path / "media", str(connection.settings_dict["NAME"]), done.stdout + done.stderr
    )


def test_all_of_it_comes_back_in_another_database(saved: Saved, tmp_path: Path) -> None:
    before, rows = database_hash(saved.database)
    names = {name for name in files_under(saved.media) if name != "stray.txt"}
    assert f"{rows} rows and {len(names)} files" in saved.said
    assert rows > 300
    assert len(names) > 5
    closed = tmp_path / "closed"
    closed.write_text("A file where a folder should be.")
    with new_database() as elsewhere:
        failed = restore(saved.path, elsewhere, closed)
        assert (failed.returncode, failed.stdout) == (2, "")
        assert "Nothing was restored." in failed.stderr
        with psycopg.connect(address(elsewhere)) as there:
            assert there.execute("SELECT count(*) FROM accounts_user").fetchone() == (0,)

        done = restore(saved.path, elsewhere, tmp_path / "other")
        assert done.returncode == 0, done.stderr
        assert f"{rows} rows and {len(names)} files" in done.stdout
        end = saved.said.partition("The audit trail in it ends at ")[2].split()[0]
        assert f"verify_trail --head {end}" in done.stdout
        _tells_of_the_backup(elsewhere, end)
        assert database_hash(elsewhere) == (before, rows)
        assert files_under(tmp_path / "other") == {
            name: digest for name, digest in files_under(saved.media).items() if name in names
        }
        _still_keeps_its_history(elsewhere)


def _tells_of_the_backup(database: str, end: str) -> None:
    """The trail in a backup is sealed up to the end that is told, and its last entry is the backup itself."""
    number, seal = end.split(":")
    with psycopg.connect(address(database)) as there:
        told = there.execute(
            "SELECT l.seal, e.verb, e.changes -> 'file' ->> 1 FROM audit_link l "
            "JOIN audit_auditentry e ON e.id = l.entry WHERE l.number = %s",
            [number],
        )
        assert told.fetchone() == (seal, "backup.ordered", "b.age")
        assert there.execute("SELECT count(*) FROM audit_waiting").fetchone() == (0,)


def _still_keeps_its_history(database: str) -> None:
    with psycopg.connect(address(database), autocommit=True) as there:
        with pytest.raises(psycopg.DatabaseError, match="only ever added"):
            there.execute("DELETE FROM audit_auditentry")
        there.execute("UPDATE surveys_site SET name = 'Other' WHERE code = 'AB1'")
        told = there.execute("SELECT after FROM audit_rowchange ORDER BY id DESC LIMIT 1").fetchone()
        assert told == ({"name": "Other"},)


def test_a_filled_database_a_wrong_key_and_a_changed_file_are_refused(
    saved: Saved, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before, files = database_hash(saved.database), files_under(saved.media)
    monkeypatch.setenv("BACKUP_KEY", SECRET)
    filled = in_this_process(capsys, "restore", str(saved.path))
    assert "This database holds rows (" in filled.stderr

    monkeypatch.setenv("BACKUP_KEY", sealing.new_key()[1])
    assert "was not made for this BACKUP_KEY" in in_this_process(capsys, "restore", str(saved.path)).stderr

    monkeypatch.setenv("BACKUP_KEY", SECRET)
    changed = bytearray(saved.path.read_bytes())
    changed[len(changed) // 2] ^= 1
    saved.path.write_bytes(changed)
    refused = in_this_process(capsys, "restore", str(saved.path))
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "was damaged, changed or cut off" in refused.stderr
    assert (database_hash(saved.database), files_under(saved.media)) == (before, files)


def test_a_backup_sees_one_moment(saved: Saved) -> None:
    with psycopg.connect(address(saved.database), autocommit=True) as other, database.snapshot() as cursor:
        columns = database.columns_of_tables(cursor)
        before = database.contents(cursor, columns)
        other.execute("UPDATE surveys_site SET name = 'Written meanwhile'")
        assert b"meanwhile" not in b"".join(database.rows_out(cursor, "surveys_site", columns["surveys_site"]))
        assert database.contents(cursor, columns) == before
    with database.snapshot() as cursor:
        assert b"meanwhile" in b"".join(database.rows_out(cursor, "surveys_site", columns["surveys_site"]))
        assert database.contents(cursor, columns)["surveys_site"] != before["surveys_site"]


def test_a_backup_replaces_none_and_names_what_is_missing(
    saved: Saved, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = AuditEntry.objects.across_groups("all there are").count()
    assert "exists already" in in_this_process(capsys, "backup", str(saved.path)).stderr
    nowhere = saved.path.parent / "nowhere" / "b.age"
    assert f"There is no folder {nowhere.parent}." in in_this_process(capsys, "backup", str(nowhere)).stderr
    assert AuditEntry.objects.across_groups("all there are").count() == taken
    photo = Photo.objects.across_groups("to lose one").order_by("id").first()
    assert photo is not None
    lost = str(photo.file.name)
    default_storage.delete(lost)
    again = in_this_process(capsys, "backup", str(saved.path.with_name("c.age")))
    assert again.returncode == 0
    assert f"A row names {lost}, but there is no such file." in again.stderr
    assert saved.path.with_name("c.age").stat().st_mode & 0o777 == 0o600
    assert sorted(path.name for path in saved.path.parent.glob("*.age*")) == ["b.age", "c.age"]
