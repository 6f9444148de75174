"""Which release of the portal this is, and the static files that its bank pages are made of."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.templatetags.static import static

FOLDERS = ("templates", "portal", "alerts", "surveys", "scoring")
KINDS = {".html", ".css", ".js", ".svg", ".py", ".toml"}
STATIC = Path("portal", "static")
# Parts of pages that a phone on the bank never opens.
LEFT_OUT = {"css/report.css", "css/sheet.css", "css/desk.css", "js/draft-keeper.js", "js/photo-upload.js"}


@lru_cache(maxsize=1)
def release() -> str:
    """A word that changes with every change of code, template or static file; the same in all processes."""
    digest = hashlib.sha256()
    for path in sorted(_sources()):
        digest.update(str(path.relative_to(settings.BASE_DIR)).encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def static_names() -> list[str]:
    """Names of the static files that a phone keeps."""
    root = settings.BASE_DIR / STATIC
    found = (path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())
    return sorted(name for name in found if name not in LEFT_OUT)


def static_addresses() -> list[str]:
    """Addresses of the same, as pages name them."""
    return [static(name) for name in static_names()]


def _sources() -> Iterator[Path]:
    for folder in FOLDERS:
        found = (settings.BASE_DIR / folder).rglob("*")
        yield from (path for path in found if path.suffix in KINDS)
