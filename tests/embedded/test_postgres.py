"""The private PostgreSQL, started for real."""

import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import environ
import psycopg
import pytest

from portal.embedded import place, postgres
from portal.embedded.place import EmbeddedError
from tests.processes import await_true, is_alive, kill_now


def server_pid(state: Path) -> int:
    return int((state / "postgres" / "data" / "postmaster.pid").read_text().split()[0])


def ask(address: str, question: str) -> object:
    with psycopg.connect(address) as connection:
        row = connection.execute(question).fetchone()
    return row[0] if row else None


def user_process(state: Path, environment: dict[str, str]) -> subprocess.Popen[str]:
    """Another process that uses the server until its input ends."""
    code = f"""
        import pathlib, sys
        from portal.embedded import postgres
        with postgres.running(pathlib.Path({str(state)!r}), durable=False) as address:
            print(address, flush=True)
            sys.stdin.read()
    """
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=place.PROJECT,
        env=environment,
    )


@contextmanager
def another_program() -> Iterator[int]:
    """A program of the same user as the server, whose number PostgreSQL would take for a living server's."""
    with subprocess.Popen(["sleep", "60"], **place.as_server_user()) as program:
        yield program.pid
        program.kill()


def address_of(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    line: str = process.stdout.readline()
    return line.strip()


def test_it_keeps_the_data_between_two_starts(begun_state: Path) -> None:
    with postgres.running(begun_state) as address, psycopg.connect(address) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 'still here' AS word")
    with postgres.running(begun_state) as address:
        assert ask(address, "SELECT word FROM kept") == "still here"


def test_it_stores_text_of_any_language_and_knows_its_letters(state: Path) -> None:
    with postgres.running(state, durable=False) as address:
        assert ask(address, "SHOW server_encoding") == "UTF8"
        assert ask(address, "SELECT upper('éphémère ł')") == "ÉPHÉMÈRE Ł"


def test_it_opens_no_network_port(begun_state: Path) -> None:
    with postgres.running(begun_state, durable=False) as address:
        assert ask(address, "SHOW listen_addresses") == ""


def test_its_address_means_the_same_to_django(begun_state: Path) -> None:
    with postgres.running(begun_state, durable=False) as address:
        settings = environ.Env.db_url_config(address)
        socket = settings["OPTIONS"]["host"]
        assert settings["NAME"] == ask(address, "SELECT current_database()") == "rifflebook"
        assert settings["USER"] == ask(address, "SELECT current_user")
        assert ask(address, "SHOW unix_socket_directories") == socket


def test_it_is_durable_unless_told_otherwise(begun_state: Path) -> None:
    with postgres.running(begun_state) as address:
        assert ask(address, "SHOW fsync") == "on"
    with postgres.running(begun_state, durable=False) as address:
        assert ask(address, "SHOW fsync") == "off"


def test_it_stops_when_its_only_user_leaves(begun_state: Path) -> None:
    with postgres.running(begun_state, durable=False):
        pid = server_pid(begun_state)
        assert is_alive(pid)
    assert not is_alive(pid)


def test_it_stops_when_its_only_user_fails(begun_state: Path) -> None:
    server = postgres.running(begun_state, durable=False)
    server.__enter__()
    pid = server_pid(begun_state)
    assert not server.__exit__(ZeroDivisionError, ZeroDivisionError(), None)
    assert not is_alive(pid)


def test_a_second_user_keeps_it_running_after_the_first_has_left(
    begun_state: Path, bare_environment: dict[str, str]
) -> None:
    first = user_process(begun_state, bare_environment)
    address = address_of(first)
    with postgres.running(begun_state, durable=False):
        pid = server_pid(begun_state)
        first.communicate()
        assert ask(address, "SELECT 1") == 1
    assert not is_alive(pid)


def test_a_killed_user_does_not_keep_it_running(begun_state: Path, bare_environment: dict[str, str]) -> None:
    killed = user_process(begun_state, bare_environment)
    address_of(killed)
    with postgres.running(begun_state, durable=False):
        killed.kill()
        killed.communicate()
        pid = server_pid(begun_state)
    assert not is_alive(pid)


def test_many_that_come_at_once_share_one_server(state: Path, bare_environment: dict[str, str]) -> None:
    users = [user_process(state, bare_environment) for _ in range(4)]
    addresses = {address_of(user) for user in users}
    pid = server_pid(state)
    assert [ask(address, "SELECT 1") for address in addresses] == [1]
    for user in users:
        user.communicate()
    assert [user.returncode for user in users] == [0, 0, 0, 0]
    assert not is_alive(pid)


def test_it_starts_again_after_a_kill_and_has_what_was_committed(begun_state: Path) -> None:
    with postgres.running(begun_state) as address:
        with psycopg.connect(address) as connection:
            connection.execute("CREATE TABLE kept AS SELECT 'committed' AS word")
        killed = server_pid(begun_state)
        kill_now(killed)
        with postgres.running(begun_state) as again:
            assert ask(again, "SELECT word FROM kept") == "committed"
            assert server_pid(begun_state) != killed


def test_it_starts_beside_a_note_whose_process_number_is_another_programs_now(begun_state: Path) -> None:
    with postgres.running(begun_state, durable=False):
        note = begun_state / "postgres" / "data" / "postmaster.pid"
        lines = note.read_text().split("\n")
    with another_program() as number:
        note.write_text("\n".join([str(number), *lines[1:]]))
        with postgres.running(begun_state, durable=False) as address:
            assert ask(address, "SELECT 1") == 1


def test_it_says_which_programs_fit_data_of_another_version(begun_state: Path) -> None:
    with postgres.running(begun_state, durable=False):
        pass
    (begun_state / "postgres" / "data" / "PG_VERSION").write_text("9\n")
    with pytest.raises(EmbeddedError, match=r"made by PostgreSQL 9 .* set PORTAL_POSTGRES_BIN"):
        postgres.running(begun_state).__enter__()


def test_it_repeats_what_the_server_said_when_it_cannot_start(begun_state: Path) -> None:
    with postgres.running(begun_state, durable=False):
        pass
    with (begun_state / "postgres" / "data" / "postgresql.conf").open("a") as settings:
        settings.write("no_such_setting = 1\n")
    with pytest.raises(EmbeddedError, match="no_such_setting"):
        postgres.running(begun_state).__enter__()


def test_it_uses_a_short_socket_folder_when_the_state_lies_deep(state: Path) -> None:
    deep = state / ("deep" * 20)
    with postgres.running(deep, durable=False) as address:
        socket = Path(str(ask(address, "SHOW unix_socket_directories")))
        assert len(str(socket)) < 40
        assert socket.stat().st_mode & 0o077 == 0
    await_true(lambda: not any(socket.iterdir()), "the socket outlived the server")
    socket.rmdir()


def test_it_lets_no_other_user_of_the_machine_in(state: Path) -> None:
    with postgres.running(state, durable=False):
        assert (state / "postgres").stat().st_mode & 0o077 == 0


def test_no_setting_meant_for_another_server_reaches_it(
    begun_state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PGPORT", "6543")
    with postgres.running(begun_state, durable=False) as address:
        assert ask(address, "SHOW port") == "5432"
