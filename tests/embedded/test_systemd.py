"""Without containers systemd runs what the demo runs, hardened alike."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from portal.embedded import commands, place

FOLDER = place.PROJECT / "portal" / "deploy" / "systemd"
BIN = "/srv/rifflebook/.venv/bin/"
UNITS = {path.name: path.read_text() for path in sorted(FOLDER.iterdir())}
SERVICES = {name: text for name, text in UNITS.items() if name.endswith(".service")}
PORTAL = {
    "rifflebook-web.service": commands.web("127.0.0.1:8000"),
    "rifflebook-worker.service": commands.worker(),
    "rifflebook-beat.service": commands.beat(Path("/var/lib/rifflebook/beat-schedule")),
}


def start_of(unit: str) -> str:
    """What the unit starts."""
    return str(re.findall(r"^ExecStart=(.*)$", UNITS[unit], re.MULTILINE)[0])


def hardening_of(text: str) -> str:
    """From the account to the end of the section: the same in all."""
    return text[text.index("User=rifflebook") :].split("\n\n")[0].strip()


@pytest.mark.parametrize("unit", PORTAL)
def test_a_unit_runs_the_command_of_the_demo(unit: str) -> None:
    program, *words = shlex.split(start_of(unit))
    assert [program.removeprefix(BIN), *words] == PORTAL[unit]
    assert program.startswith(BIN)
    assert "Restart=always\n" in UNITS[unit]


def test_what_is_under_way_is_finished_before_a_unit_is_killed() -> None:
    seconds = {unit: int(re.findall(r"TimeoutStopSec=(\d+)", UNITS[unit])[0]) for unit in PORTAL}
    assert seconds["rifflebook-web.service"] > 30
    assert seconds["rifflebook-worker.service"] > 6 * 20
    for unit in ("rifflebook-web.service", "rifflebook-worker.service"):
        assert "KillMode=mixed\n" in UNITS[unit]


def test_every_service_is_hardened_alike_and_owns_nothing_but_its_state() -> None:
    assert len({hardening_of(text) for text in SERVICES.values()}) == 1
    shared = hardening_of(SERVICES["rifflebook-web.service"]).splitlines()
    wanted = {
        "NoNewPrivileges=yes",
        "ProtectSystem=strict",
        "CapabilityBoundingSet=",
        "StateDirectory=rifflebook",
    }
    assert wanted <= set(shared)
    assert "EnvironmentFile=/etc/rifflebook/portal.env" in shared
    writable = {name for name, text in SERVICES.items() if "ReadWritePaths=" in text}
    assert writable == {"rifflebook-backup.service"}


def test_only_what_needs_the_owner_of_the_tables_is_given_that_account() -> None:
    owners = {name for name, text in SERVICES.items() if "owner.env" in text}
    assert owners == {"rifflebook-migrate.service", "rifflebook-backup.service"}


def test_a_backup_is_named_after_its_minute() -> None:
    # As systemd reads it: "$$" is "$", "%%" is "%".
    shell, option, words = shlex.split(
        start_of("rifflebook-backup.service").replace("$$", "$").replace("%%", "%")
    )
    said = subprocess.run(
        [shell, option, words.replace(f"exec {BIN}python manage.py", "echo")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert re.fullmatch(r"backup /var/backups/rifflebook/\d{4}-\d\d-\d\dT\d{4}\.age\n", said.stdout)
    assert "Persistent=yes" in UNITS["rifflebook-backup.timer"]


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd is not installed")
def test_systemd_understands_every_line(tmp_path: Path) -> None:
    for name, text in UNITS.items():
        # With programs that are there: of others it says only that they are not.
        (tmp_path / name).write_text(text.replace(BIN, f"{Path(sys.executable).parent}/"))
    units = [str(tmp_path / name) for name in UNITS]
    told = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *units], capture_output=True, text=True, check=False
    )
    about_ours = [line for line in told.stderr.splitlines() if "rifflebook" in line]
    assert about_ours == []


def managed(tmp_path: Path, *words: str) -> list[str]:
    """What `rifflebook-manage` asks of systemd for that command."""
    asked = tmp_path / "systemd-run"
    asked.write_text('#!/bin/sh\nprintf "%s\\n" "$@"\n')
    asked.chmod(0o755)
    said = subprocess.run(
        [place.PROJECT / "portal" / "deploy" / "rifflebook-manage", *words],
        capture_output=True,
        text=True,
        check=True,
        env={"PATH": f"{tmp_path}:/usr/bin:/bin"},
    )
    return said.stdout.splitlines()


def test_a_command_runs_as_the_services_do(tmp_path: Path) -> None:
    asked = managed(tmp_path, "create_group", "alder", "Alder Beck Watch")
    assert asked[-5:] == [f"{BIN}python", "manage.py", "create_group", "alder", "Alder Beck Watch"]
    lines = hardening_of(SERVICES["rifflebook-web.service"]).splitlines()
    given = {word for option, word in pairwise(asked) if option == "-p"}
    assert given <= set(lines)
    assert {line for line in lines if line.startswith(("User", "Group", "Environ", "State"))} - given == {
        next(line for line in lines if line.startswith("Environment="))
    }
    surroundings = {word for option, word in pairwise(asked) if option == "-E"}
    assert surroundings == {
        "PORTAL_STATE_DIR=/var/lib/rifflebook",
        "PATH=/srv/rifflebook/.venv/bin:/usr/bin:/bin",
    }


@pytest.mark.parametrize("command", ["migrate", "backup", "restore", "grow"])
def test_only_a_command_that_needs_the_owner_of_the_tables_is_given_that_account(
    tmp_path: Path, command: str
) -> None:
    assert "EnvironmentFile=-/etc/rifflebook/owner.env" in managed(tmp_path, command)
    assert "owner.env" not in " ".join(managed(tmp_path, "verify_trail", command))
