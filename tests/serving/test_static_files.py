"""What scripts import of each other is named by its hash, as the pages name the scripts themselves."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core.management import call_command


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from django.conf import settings as live
    from django.test import override_settings

    folder = tmp_path_factory.mktemp("static")
    storages = {**live.STORAGES, "staticfiles": {"BACKEND": "portal.serving.static_files.HashedStaticFiles"}}
    with override_settings(STATIC_ROOT=folder, STORAGES=storages):
        call_command("collectstatic", interactive=False, verbosity=0)
    return folder


def hashed(folder: Path, name: str) -> Path:
    (found,) = folder.glob(name.replace(".js", ".*.js"))
    return found


def test_it_names_an_imported_script_by_its_hash(collected: Path) -> None:
    text = hashed(collected, "js/draft-keeper.js").read_text()
    assert f'from "./{hashed(collected, "js/form-entries.js").name}";' in text


def test_it_finds_every_import_between_our_scripts(collected: Path) -> None:
    scripts = [each for each in collected.glob("js/**/*.js") if re.search(r"\.[0-9a-f]{12}\.js$", each.name)]
    imported = [
        each.parent / found for each in scripts for found in re.findall(r'from "(\.[^"]+)"', each.read_text())
    ]
    assert imported
    assert [each for each in imported if not re.search(r"\.[0-9a-f]{12}\.js$", each.name)] == []
    assert [each for each in imported if not each.exists()] == []
