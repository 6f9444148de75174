"""Each setting stands in one part of `portal/settings/`, every part is read, and follows its environment."""

from __future__ import annotations

import ast
import runpy
from collections import Counter
from typing import Any

import pytest

from tests.house.source import PROJECT

FOLDER = PROJECT / "portal" / "settings"
PARTS = {path.stem: ast.parse(path.read_text()) for path in FOLDER.glob("*.py") if path.stem != "__init__"}


def settings_in(part: ast.Module) -> set[str]:
    """Names in capitals that a part sets, inside an `if` as well."""
    names = (
        node.id for node in ast.walk(part) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    )
    return {name for name in names if name.isupper() and not name.startswith("_")}


def test_no_setting_is_set_in_two_parts() -> None:
    times = Counter(name for part in PARTS.values() for name in settings_in(part))
    assert len(times) > 100
    assert [name for name, count in times.items() if count > 1] == []


def test_every_part_is_read() -> None:
    whole = ast.parse((FOLDER / "__init__.py").read_text())
    read = {node.module for node in ast.walk(whole) if isinstance(node, ast.ImportFrom)}
    assert read == {f"portal.settings.{part}" for part in PARTS}


def read(part: str) -> dict[str, Any]:
    """The settings of a part as a new process would read them."""
    return runpy.run_path(str(FOLDER / f"{part}.py"))


ROLE, OTHER = "postgres://rifflebook_app:secret@db/portal", "postgres://owner:secret@db/portal"


@pytest.mark.parametrize(
    ("url", "as_owner", "user", "steps_down_to"),
    [
        (ROLE, "", "rifflebook_app", None),
        (OTHER, "", "owner", "rifflebook_app"),
        (ROLE, "1", "owner", None),
    ],
    ids=["signs in as the role", "signs in as somebody else", "works as the owner"],
)
def test_it_works_as_a_role_that_owns_no_table_unless_it_is_to_be_the_owner(
    url: str, as_owner: str, user: str, steps_down_to: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DATABASE_URL", url)
    monkeypatch.setenv("DATABASE_OWNER_URL", OTHER)
    monkeypatch.setenv("AS_DATABASE_OWNER", as_owner)
    database = read("databases")["DATABASES"]["default"]
    assert (database["USER"], database["OPTIONS"].get("assume_role")) == (user, steps_down_to)
    assert database["ENGINE"] == "portal.accounts.walled"


def test_only_the_roles_own_password_is_taken_for_its_password(monkeypatch: pytest.MonkeyPatch) -> None:
    for url, password in ((ROLE, "secret"), (OTHER, "")):
        monkeypatch.setenv("DATABASE_URL", url)
        assert read("databases")["DATABASE_ROLE_PASSWORD"] == password


def test_limits_hold_for_all_processes_where_there_is_a_redis(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REDIS_URL", "redis://queue:6379/0")
    shared = read("caches")["CACHES"]
    monkeypatch.delenv("REDIS_URL")
    alone = read("caches")["CACHES"]
    assert shared["default"]["BACKEND"] == "portal.accounts.signing_in.limits.SharedCounts"
    assert {each["BACKEND"] for each in alone.values()} == {"django.core.cache.backends.locmem.LocMemCache"}
    # What is kept for one purpose is never found, or dropped, for another.
    for caches in (shared, alone):
        places = {(each.get("LOCATION", ""), each.get("KEY_PREFIX", "")) for each in caches.values()}
        assert len(places) == len(caches)


@pytest.mark.parametrize(("production", "demo"), [(True, False), (False, True), (False, False)])
def test_a_portal_that_serves_its_own_files_names_them_by_their_hash(
    production: bool, demo: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("portal.settings.environment.PRODUCTION", production)
    monkeypatch.setattr("portal.settings.environment.DEMO", demo)
    backend = read("files")["STORAGES"]["staticfiles"]["BACKEND"]
    assert (backend == "portal.serving.static_files.HashedStaticFiles") is (production or demo)


@pytest.mark.parametrize(
    ("production", "proxies", "believed"),
    [(True, "1", True), (True, "0", False), (True, "", False), (False, "1", False)],
)
def test_a_forwarded_header_is_believed_only_from_a_proxy_of_ours(
    production: bool, proxies: str, believed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("portal.settings.environment.PRODUCTION", production)
    monkeypatch.setenv("PROXIES", proxies)
    assert (read("security")["SECURE_PROXY_SSL_HEADER"] is not None) is believed
