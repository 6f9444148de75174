"""The floors of the house: every room has one, and a stair that leads up is refused."""

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.house.source import PROJECT

APPS = ["portal", "alerts", "surveys", "scoring"]


def rooms_on_floors() -> set[str]:
    """Every module that the contract puts on a floor."""
    rules = tomllib.loads((PROJECT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    (floors,) = [rule["layers"] for rule in rules if rule["type"] == "layers" and "containers" not in rule]
    return {room.strip(" ()") for floor in floors for room in floor.replace("|", ":").split(":")}


def rooms_of_the_portal() -> set[str]:
    """Every module and package of the portal that holds Python."""
    entries = [*PROJECT.glob("portal/*.py"), *(found.parent for found in PROJECT.glob("portal/*/__init__.py"))]
    return {f"portal.{entry.stem}" for entry in entries if entry.stem != "__init__"}


def test_every_room_of_the_portal_has_its_floor() -> None:
    assert rooms_of_the_portal() - rooms_on_floors() == set()


def test_every_app_has_its_floor() -> None:
    assert set(APPS) - {"portal"} <= rooms_on_floors()


@pytest.mark.parametrize(
    ("lower", "upward"),
    [
        ("scoring", "import surveys.models"),
        ("surveys", "import alerts.models"),
        ("alerts", "import portal.settings"),
        ("alerts/judging", "import alerts.evidence"),
        ("surveys/people", "import surveys.services"),
        ("portal/outbox", "import surveys.models"),
        ("portal/charts", "import django.utils"),
        ("portal/embedded", "import django.conf"),
    ],
)
def test_an_import_from_above_is_refused(lower: str, upward: str, tmp_path: Path) -> None:
    for app in APPS:
        shutil.copytree(PROJECT / app, tmp_path / app, ignore=shutil.ignore_patterns("static", "__pycache__"))
    shutil.copy(PROJECT / "pyproject.toml", tmp_path)
    (tmp_path / lower / "upward.py").write_text(f"{upward}\n")
    program = Path(sys.executable).with_name("lint-imports")
    told = subprocess.run([program, "--no-cache"], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert told.returncode == 1
    assert f"{lower.replace('/', '.')}.upward -> {upward.split()[1].split('.')[0]}" in told.stdout
