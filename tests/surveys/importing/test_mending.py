"""Rows with problems: fetched with what is wrong, mended, loaded by themselves, while the rest is loaded."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from surveys.importing.mending import as_workbook, bad_lines
from surveys.importing.raw import WHAT_IS_WRONG, read_raw
from surveys.models import ImportRun, Visit
from surveys.services import imports
from tests.conftest import Cast
from tests.surveys.importing.layouts import BY_VISIT, SIDE_BY_SIDE, Lines, checked, content_of, laid
from tests.surveys.importing.sheets import csv_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def kept(cast: Cast, content: bytes, name: str = "old.csv") -> ImportRun:
    return imports.keep_sheet(
        person=cast.person("coordinator"), group=cast.group, file=io.BytesIO(content), file_name=name
    )


def fetched(cast: Cast, run: ImportRun, *, check: bool = True) -> list[list[Any]]:
    if check:
        imports.check_and_keep(person=cast.person("coordinator"), run=run)
    client = Client()
    client.force_login(cast.coordinator)
    answer = client.get(reverse("import_errors", args=["alder-beck", run.pk]))
    assert answer.status_code == 200
    return [list(line) for line in load_workbook(io.BytesIO(answer.content)).worksheets[0].values]


def written(table: list[list[Any]]) -> bytes:
    return as_workbook([tuple(str(cell or "") for cell in line) for line in table])


THREE = csv_of(
    [{"taxon": "Elmidae"}, {"taxon": "Baetidae", "count": "lots"}, {"date": "2024-06-03"}, {"site": "ZZ9"}]
)


def test_all_rows_of_a_visit_with_a_problem_are_there_and_no_others(cast: Cast) -> None:
    table = fetched(cast, kept(cast, THREE))
    assert table[0] == ["site", "date", "taxon", "count", WHAT_IS_WRONG]
    assert [line[:4] for line in table[1:]] == [
        ["AB1", "2024-05-03", "Elmidae", "12"],
        ["AB1", "2024-05-03", "Baetidae", "lots"],
        ["ZZ9", "2024-05-03", "Baetidae", "12"],
    ]
    assert table[1][4] is None
    assert table[2][4].startswith("count: Write a whole number")
    assert "no site" in table[3][4]


def test_the_rest_is_loaded_and_the_mended_rows_by_themselves(cast: Cast) -> None:
    run = kept(cast, THREE)
    person = cast.person("coordinator")
    imports.check_and_keep(person=person, run=run)
    with pytest.raises(imports.SheetHasProblems):
        imports.load_run(person=person, run=run)
    assert imports.load_run(person=person, run=run, only_sound=True).new == 1
    run.refresh_from_db()
    assert run.left_out == 2
    # The sheet is still kept, so that its rows can be fetched after the loading as well.
    table = fetched(cast, run, check=False)
    table[2][3], table[3][0], table[3][1] = "3", "AB1", "2024-07-03"
    mended = kept(cast, written(table), "to-mend.xlsx")
    assert imports.check_run(person=person, run=mended).problems == ()
    assert imports.load_run(person=person, run=mended).new == 2
    assert Visit.objects.of_group(cast.group).count() == 3


def test_a_sheet_without_one_sound_visit_loads_nothing(cast: Cast) -> None:
    run = kept(cast, csv_of([{"site": "ZZ9"}]))
    with pytest.raises(imports.SheetHasProblems):
        imports.load_run(person=cast.person("coordinator"), run=run, only_sound=True)


def test_visits_side_by_side_stay_so(cast: Cast) -> None:
    lines = [list(line) for line in SIDE_BY_SIDE]
    lines[3][2] = "many"
    table = bad_lines(laid(lines), checked(cast.group, lines))
    assert [line[0] for line in table] == ["Site", "Date", "Temp", "Baetidae", "Elmidae", WHAT_IS_WRONG]
    assert [len(line) for line in table] == [2] * 6
    assert table[3][1] == "many"
    assert table[5][1].startswith("Baetidae: Write a whole number")


def test_a_mended_sheet_is_not_told_twice_what_is_wrong(cast: Cast) -> None:
    lines: Lines = [
        (*line, note) for line, note in zip(BY_VISIT, (WHAT_IS_WRONG, "old words", ""), strict=True)
    ]
    lines = [lines[0], (*lines[1][:4], "many", *lines[1][5:])]
    table = bad_lines(laid(lines), checked(cast.group, lines))
    assert table[0].count(WHAT_IS_WRONG) == 1
    assert "old words" not in str(table)


def test_the_sheet_holds_text_and_never_a_formula() -> None:
    book = load_workbook(io.BytesIO(as_workbook([("=1+1", "1-9", "@SUM(A1)")])))
    cells = next(iter(book.worksheets[0].iter_rows()))
    assert [cell.data_type for cell in cells] == ["s", "s", "s"]
    assert {cell.number_format for cell in cells} == {"@"}
    again = read_raw(ContentFile(as_workbook([("a", "b"), ("=1+1", "1-9")])), "x.xlsx")
    assert again.rows == (("=1+1", "1-9"),)


def test_what_is_kept_no_longer_is_not_fetched(cast: Cast) -> None:
    run = kept(cast, content_of(BY_VISIT))
    client = Client()
    client.force_login(cast.coordinator)
    # Nobody has said yet what its columns mean.
    assert client.get(reverse("import_errors", args=["alder-beck", run.pk])).status_code == 404


def test_a_sheet_that_was_loaded_whole_has_no_rows_to_mend(cast: Cast) -> None:
    run = kept(cast, csv_of([{}]))
    imports.load_run(person=cast.person("coordinator"), run=run)
    client = Client()
    client.force_login(cast.coordinator)
    assert client.get(reverse("import_errors", args=["alder-beck", run.pk])).status_code == 404
