"""Where the private servers keep their state, and which system user runs them."""

import hashlib
import os
import pwd
import subprocess
import tempfile
from pathlib import Path
from typing import Any

PRODUCT = "rifflebook"
PROJECT = Path(__file__).resolve().parents[2]
# The kernel allows 107 bytes for a socket's path; PostgreSQL adds a 16 byte file name and a lock beside it.
LONGEST_SOCKET_FOLDER = 80


class EmbeddedError(RuntimeError):
    """A private server cannot be found, started or stopped; the message says what to do."""


def server_user() -> pwd.struct_passwd | None:
    """The system user for PostgreSQL, which refuses to run as root; None means whoever runs this."""
    return pwd.getpwnam("nobody") if os.geteuid() == 0 else None


def as_server_user() -> dict[str, Any]:
    """Keyword arguments that make `subprocess` switch to `server_user`."""
    user = server_user()
    # From "/" because the caller's own folder may be closed to the other user.
    if user is None:
        return {"cwd": "/"}
    return {"cwd": "/", "user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


def can_reach(folder: Path) -> bool:
    """Tell whether the server's user may walk into `folder`, asked by really trying."""
    return subprocess.run(["test", "-x", str(folder)], check=False, **as_server_user()).returncode == 0


def state_folder(given: Path | None = None) -> Path:
    """Where all that outlives a run is kept: `given`, PORTAL_STATE_DIR, `var/`, or outside the project."""
    named = given or os.environ.get("PORTAL_STATE_DIR")
    if named:
        return Path(named).absolute()
    own = PROJECT / "var"
    usable = can_reach(PROJECT) and os.access(own if own.exists() else PROJECT, os.W_OK)
    return own if usable else _elsewhere()


def make_folder(folder: Path, mode: int, owned_by_server: bool = False) -> Path:
    """Create `folder` with exactly `mode` unless it is there; a folder that exists is left as it is."""
    if not folder.exists():
        folder.parent.mkdir(parents=True, exist_ok=True)
        # Finished beside its place: who comes at the same moment never sees it half made or another's.
        made = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        made.chmod(mode)
        user = server_user()
        if owned_by_server and user is not None:
            os.chown(made, user.pw_uid, user.pw_gid)
        _put_in_place(made, folder)
    return folder


def _put_in_place(made: Path, folder: Path) -> None:
    try:
        made.rename(folder)
    except OSError:
        # Somebody was first and it is in use already.
        made.rmdir()
        if not folder.is_dir():
            raise


def server_folder(state: Path, server: str) -> Path:
    """The folder of one server below `state`, owned by the user that runs it and closed to everybody else."""
    make_folder(state, 0o755)
    if not can_reach(state):
        raise EmbeddedError(f"The database's own user cannot reach {state}: set PORTAL_STATE_DIR elsewhere.")
    return make_folder(state / server, 0o700, owned_by_server=True)


def socket_folder(home: Path, owned_by_server: bool = True) -> Path:
    """A folder for the socket: below the server's home, or a short one when that path is too long."""
    near = home / "run"
    if len(os.fsencode(near)) <= LONGEST_SOCKET_FOLDER:
        return make_folder(near, 0o700, owned_by_server)
    short = make_folder(Path(tempfile.gettempdir()) / f"{PRODUCT}-{_key(home)}", 0o700, owned_by_server)
    # Anybody may have made a folder of this name first, and would then sit between us and the server.
    if short.is_symlink() or short.stat().st_uid != near.parent.stat().st_uid:
        raise EmbeddedError(f"{short} is somebody else's: remove it or set PORTAL_STATE_DIR to a shorter path.")
    return short


def _elsewhere() -> Path:
    name = f"{PRODUCT}-{_key(PROJECT)}"
    if os.geteuid() == 0:
        return Path("/var/lib") / name
    home = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(home) / name


def _key(path: Path) -> str:
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:10]
