"""Each setting stands in one part of `portal/settings/`, and every part is read."""

from __future__ import annotations

import ast
from collections import Counter

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
