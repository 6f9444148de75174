"""The second language is whole: each text has its translation, with what is put into it, and is compiled."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import polib
import pytest
from django.conf import settings
from django.utils import translation
from django.utils.formats import number_format

from portal.charts.words import ENGLISH, LANGUAGES

ROOT = Path(settings.BASE_DIR)
LOCALES = ROOT / "portal" / "locale"
OTHERS = [code for code, _name in settings.LANGUAGES if code != settings.LANGUAGE_CODE]
PLACEHOLDER = re.compile(r"%\(\w+\)[sd]|%[sd%]|\{\w*\}|</?\w+")
SOURCES = ("portal", "surveys", "alerts", "scoring", "templates")
Key = tuple[str | None, str]


def catalogue(code: str) -> polib.POFile:
    return polib.pofile(str(LOCALES / code / "LC_MESSAGES" / "django.po"))


def keys(entries: polib.POFile) -> set[Key]:
    return {(each.msgctxt, each.msgid) for each in entries if not each.obsolete}


def forms(entry: polib.POEntry) -> list[str]:
    return list(entry.msgstr_plural.values()) if entry.msgid_plural else [entry.msgstr]


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> set[Key]:
    """Every text that the tools find now, collected from a copy."""
    copy = tmp_path_factory.mktemp("texts")
    for name in SOURCES:
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("locale", "static", "*.pyc"))
    (copy / "portal" / "locale").mkdir(parents=True)
    shutil.copy(ROOT / "manage.py", copy)
    command = ["makemessages", "--locale", "xx", "--no-location", "--verbosity", "0"]
    # In the copy, whose settings then name its own folders.
    subprocess.run([sys.executable, "manage.py", *command], cwd=copy, check=True)
    return keys(polib.pofile(str(copy / "portal" / "locale" / "xx" / "LC_MESSAGES" / "django.po")))


@pytest.mark.parametrize("code", OTHERS)
def test_it_holds_every_text_and_no_other(collected: set[Key], code: str) -> None:
    held = keys(catalogue(code))
    assert sorted(map(str, collected - held)) == [], "make messages, then translate"
    assert sorted(map(str, held - collected)) == []


@pytest.mark.parametrize("code", OTHERS)
def test_every_text_is_translated(code: str) -> None:
    entries = catalogue(code)
    assert [each.msgid for each in entries if each.fuzzy or not all(forms(each))] == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_keeps_what_is_put_into_it(code: str) -> None:
    wrong = []
    for each in catalogue(code):
        allowed = [sorted(PLACEHOLDER.findall(text)) for text in (each.msgid, each.msgid_plural) if text]
        wrong += [form for form in forms(each) if sorted(PLACEHOLDER.findall(form)) not in allowed]
    assert wrong == []


@pytest.mark.parametrize("code", OTHERS)
def test_what_is_compiled_is_what_is_written(code: str) -> None:
    written, compiled = catalogue(code), polib.mofile(str(LOCALES / code / "LC_MESSAGES" / "django.mo"))
    assert {(each.msgctxt, each.msgid): forms(each) for each in written} == {
        (each.msgctxt, each.msgid): forms(each) for each in compiled
    }


@pytest.mark.parametrize("code", OTHERS)
def test_charts_speak_it_too(code: str) -> None:
    words = LANGUAGES[code.split("-")[0]]
    for name, english in vars(ENGLISH).items():
        own = getattr(words, name)
        assert len(own) == len(english) if name == "months" else own, name
        assert sorted(PLACEHOLDER.findall(str(own))) == sorted(PLACEHOLDER.findall(str(english))), name


def test_a_number_is_written_as_the_language_writes_it() -> None:
    with translation.override("de"):
        assert number_format(1234.5, decimal_pos=1, force_grouping=True) == "1.234,5"
