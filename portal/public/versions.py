"""The version of a page for everybody: known from the trail of its groups, the day and the portal's code."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime
from functools import cache

from django.conf import settings
from django.utils import timezone

from portal.accounts.models import Group


def last_changed(rows: Iterable[Group]) -> datetime:
    """When the latest of them changed; the day's beginning at least, because what is old depends on today."""
    today = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    found: list[datetime] = [each.changed_at for each in rows if each.changed_at]  # type: ignore[attr-defined]
    return max([today.astimezone(UTC), *found])


def fingerprint(rows: Iterable[Group], *parts: str) -> str:
    """Short text that is another whenever the rows of `with_version`, the day or the portal's code are."""
    known = [f"{each.pk}{each.changed_at}{each.changes}" for each in rows]  # type: ignore[attr-defined]
    whole = "\n".join([*known, *parts, timezone.localdate().isoformat(), code_version()])
    return hashlib.sha256(whole.encode()).hexdigest()[:24]


@cache
def code_version() -> str:
    """A fingerprint of what pages are set from, the same in every process of one release."""
    folders = ("templates", "portal/public", "portal/charts", "portal/static/css", "portal/locale")
    files = [path for name in folders for path in (settings.BASE_DIR / name).rglob("*") if path.is_file()]
    whole = hashlib.sha256()
    for path in sorted(path for path in files if path.suffix != ".pyc"):
        whole.update(path.read_bytes())
    return whole.hexdigest()
