"""When the demo collects its static files again."""

import os
from pathlib import Path

import pytest

from portal.embedded import statics


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project with one static file, in which nothing is collected yet."""
    (tmp_path / "portal" / "static" / "css").mkdir(parents=True)
    (tmp_path / "portal" / "settings").mkdir()
    (tmp_path / "portal" / "settings" / "files.py").write_text("")
    (tmp_path / "portal" / "static" / "css" / "page.css").write_text("p {}")
    (tmp_path / "state" / "static").mkdir(parents=True)
    monkeypatch.setattr(statics, "PROJECT", tmp_path)
    return tmp_path


def test_nothing_is_current_before_the_first_collecting(project: Path) -> None:
    assert not statics.are_current(project / "state")


def test_what_was_collected_is_current_until_something_changes(project: Path) -> None:
    statics.note_collected(project / "state")
    assert statics.are_current(project / "state")


@pytest.mark.parametrize("name", ["static/css/page.css", "static/new.js", "settings/files.py"])
def test_a_changed_or_new_file_is_noticed(project: Path, name: str) -> None:
    statics.note_collected(project / "state")
    (project / "portal" / name).write_text("changed")
    assert not statics.are_current(project / "state")


def test_a_removed_file_is_noticed(project: Path) -> None:
    statics.note_collected(project / "state")
    (project / "portal" / "static" / "css" / "page.css").unlink()
    assert not statics.are_current(project / "state")


def test_a_lost_folder_is_noticed(project: Path) -> None:
    statics.note_collected(project / "state")
    (project / "state" / "static").rmdir()
    assert not statics.are_current(project / "state")


def test_an_installed_package_is_noticed(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    packages = project / "packages"
    packages.mkdir()
    monkeypatch.setattr("sysconfig.get_path", lambda _: str(packages))
    statics.note_collected(project / "state")
    os.utime(packages, (1, 1))
    assert not statics.are_current(project / "state")
