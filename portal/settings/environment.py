"""What each machine says for itself: the environment is read by `env`, here and in the other parts."""

import os
from pathlib import Path

import environ

BASE_DIR = Path(__file__).resolve().parents[2]
env = environ.Env()

DEBUG: bool = env.bool("DEBUG", default=False)
DEMO: bool = env.bool("DEMO", default=False)
PRODUCTION: bool = env.bool("PRODUCTION", default=False)
STATE_DIR = Path(env.str("PORTAL_STATE_DIR", default=str(BASE_DIR / "var")))
BASE_URL: str = env.str("BASE_URL", default="http://localhost:8000").rstrip("/")


def local_secret_key(folder: Path) -> str:
    """A key of this checkout alone, so that commands work with no set-up; a deployment gives SECRET_KEY."""
    from django.core.management.utils import get_random_secret_key

    place = folder / "secret-key"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with open(place, "x", opener=lambda path, flags: os.open(path, flags, 0o600)) as file:
            file.write(get_random_secret_key())
    except FileExistsError:
        pass
    return place.read_text()


# What somebody has set, rather than what we fell back on.
GIVEN = frozenset(name for name in ("SECRET_KEY", "PROXIES") if os.environ.get(name))
SECRET_KEY: str = env.str("SECRET_KEY", default="") or local_secret_key(STATE_DIR)
# Former keys: nothing new is signed with them, but sessions and links that were still work.
SECRET_KEY_FALLBACKS: list[str] = env.list("SECRET_KEY_FALLBACKS", default=[])
