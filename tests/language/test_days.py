"""Days stand in the order of the reader's language, wherever a page, a mail or a PDF names one."""

from __future__ import annotations

import re
from datetime import date, datetime
from importlib import import_module
from pathlib import Path

import pytest
from django.conf import settings
from django.template import Context, Template
from django.utils import translation
from django.utils.formats import date_format

DAY = date(2026, 12, 3)
# A day of the month beside a month in words: what languages order and point differently.
WRITTEN = re.compile(r"""["']((?:[lD] )?j [FM](?: Y)?(?:,? H:i(?::s)?(?: T)?)?)["']""")
PARTS = ("templates", "alerts", "portal", "surveys", "scoring")


def formats_in_use() -> set[str]:
    files = [each for part in PARTS for each in (settings.BASE_DIR / part).rglob("*") if is_source(each)]
    return {found for each in files for found in WRITTEN.findall(each.read_text())}


def is_source(file: Path) -> bool:
    return file.suffix in (".py", ".html", ".txt", ".svg", ".xml") and "formats" not in file.parts


@pytest.mark.parametrize(
    ("language", "written", "expected"),
    [
        ("en-gb", "l j F", "Thursday 3 December"),
        ("de", "l j F", "Donnerstag, 3. Dezember"),
        ("de", "j F Y", "3. Dezember 2026"),
        ("de", "j M Y", "3. Dez. 2026"),
        ("de", "F Y", "Dezember 2026"),
    ],
)
def test_a_day_is_written_as_the_language_writes_it(language: str, written: str, expected: str) -> None:
    with translation.override(language):
        assert date_format(DAY, written) == expected
        assert Template(f'{{{{ day|date:"{written}" }}}}').render(Context({"day": DAY})) == expected


def test_a_moment_in_german() -> None:
    with translation.override("de"):
        assert date_format(datetime(2026, 12, 3, 14, 30), "j F, H:i") == "3. Dezember, 14:30"


def test_every_format_in_use_is_written_for_every_language() -> None:
    used = formats_in_use()
    # Were the search broken, it would find nothing missing.
    assert {"j F Y", "l j F", "j F Y, H:i"} <= used
    for language, _name in settings.LANGUAGES:
        if language != settings.LANGUAGE_CODE:
            known = vars(import_module(f"portal.formats.{language}.formats"))
            assert used - known.keys() == set(), f"Missing in portal/formats/{language}/formats.py"
