"""Migrations run once for all runs of the suite: a data folder is kept in which they have been done.

Each run copies it and makes its databases from the one inside. It is known by a digest of all migrations and
locked packages, so that any change of them makes a new one.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from portal.embedded import place, postgres
from tests.states import temporary_state

ROOT = Path(__file__).resolve().parent.parent
KEPT = ROOT / ".pytest_cache" / "migrated"
# Names the database from which those of the tests are made.
TEMPLATE = "TEST_DATABASE_TEMPLATE"
# Where one is being made; what a killed run leaves there is removed by the next (`servers.py`).
PREFIX = "rifflebook-migrated-"
WORN_OUT = 7 * 86_400


def lay_out(state: Path) -> None:
    """Give the server of `state` a data folder whose database is migrated."""
    folder = KEPT / digest_of(ROOT)
    if not folder.exists():
        _make(folder)
    folder.touch()
    copy(folder, place.server_folder(place.state_folder(state), "postgres") / "data")


def digest_of(root: Path) -> str:
    """Digest of everything that decides what `migrate` does to an empty database."""
    own = (each for app in ("portal", "alerts", "surveys") for each in (root / app).rglob("migrations/*.py"))
    digest = hashlib.sha256()
    for path in sorted([*own, *(root / "portal").rglob("*.sql"), root / "requirements-dev.txt"]):
        digest.update(f"{path.relative_to(root)}\n".encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def _make(folder: Path) -> None:
    KEPT.mkdir(parents=True, exist_ok=True)
    _drop_worn_out()
    with temporary_state(PREFIX) as state:
        with postgres.running(state, durable=False) as address:
            _migrate(address, state)
        own = Path(tempfile.mkdtemp(dir=KEPT))
        copy(place.server_folder(state, "postgres") / "data", own / "data")
        _put_whole(own, folder)


def _migrate(address: str, state: Path) -> None:
    surroundings = os.environ | {"DATABASE_URL": address, "PORTAL_STATE_DIR": str(state)}
    command = [sys.executable, "manage.py", "migrate", "--skip-checks", "--verbosity", "0"]
    subprocess.run(command, check=True, cwd=ROOT, env=surroundings)


def _put_whole(own: Path, folder: Path) -> None:
    """Two runs may make it at once: the first counts."""
    try:
        (own / "data").rename(folder)
    except OSError:
        if not folder.exists():
            raise
    finally:
        shutil.rmtree(own)


def _drop_worn_out() -> None:
    for folder in KEPT.iterdir():
        if time.time() - folder.stat().st_mtime > WORN_OUT:
            shutil.rmtree(folder)


def copy(source: Path, target: Path) -> None:
    """Copy a folder with its owners, as PostgreSQL serves none that is somebody else's."""
    subprocess.run(["cp", "-a", str(source), str(target)], check=True)
