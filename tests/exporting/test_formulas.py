"""Text that a spreadsheet program might run is made harmless, and comes back unchanged."""

from __future__ import annotations

import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from surveys.formulas import armed_again, disarmed, is_formula_like
from tests.conftest import Cast
from tests.exporting.files import csv_lines, exported, features, xlsx_lines
from tests.factories import VisitFactory

DANGEROUS = ["=1+1", "+44 20", "-cmd|' /C calc'!A0", "@SUM(A1)", "\t=1+1", "\r=1", "＝1+1", "=HYPERLINK(1)"]
HARMLESS = ["", "-5", "-0.5", "+3", "-7,4", "1-9", "<0.05", "sheep = many", "'quoted'"]


@pytest.mark.parametrize("text", DANGEROUS)
def test_a_text_that_begins_like_a_formula_is_disarmed(text: str) -> None:
    assert disarmed(text) == f"'{text}"


@pytest.mark.parametrize("text", HARMLESS)
def test_numbers_and_other_text_stay_as_they_are(text: str) -> None:
    assert disarmed(text) == text


@given(st.text())
def test_nothing_that_is_written_can_run(text: str) -> None:
    assert not is_formula_like(disarmed(text))


@given(st.text() | st.text(alphabet="'=-5a"))
def test_loading_takes_off_what_writing_put_on(text: str) -> None:
    assert armed_again(disarmed(text)) == text


@pytest.mark.django_db
@pytest.mark.parametrize("text", DANGEROUS)
def test_no_cell_of_a_csv_begins_like_a_formula(cast: Cast, text: str) -> None:
    VisitFactory(site=cast.site, notes=text, recorder_name=text)
    for content in ("visits", "counts"):
        (line,) = csv_lines(exported(cast, content))
        assert line["notes"] == line["recorder"] == f"'{text}"


@pytest.mark.django_db
@pytest.mark.parametrize("text", DANGEROUS)
def test_a_cell_of_a_workbook_says_that_it_is_text(cast: Cast, text: str) -> None:
    VisitFactory(site=cast.site, notes=text)
    sheet: Any = load_workbook(io.BytesIO(exported(cast, "visits", "xlsx"))).worksheets[0]
    (cell,) = [cell for cell in sheet[2] if sheet.cell(1, cell.column).value == "notes"]
    assert (cell.data_type, cell.value) == ("s", text)
    assert cell.quotePrefix


@pytest.mark.django_db
def test_text_in_a_map_file_is_left_alone(cast: Cast) -> None:
    VisitFactory(site=cast.site, notes="=1+1")
    assert features(exported(cast, "visits", "geojson"))[0]["properties"]["notes"] == "=1+1"


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["csv", "xlsx", "geojson"])
def test_control_characters_never_spoil_a_file(cast: Cast, kind: str) -> None:
    VisitFactory(site=cast.site, notes="bell\x07 and \x1b escape")
    content = exported(cast, "visits", kind)
    if kind == "xlsx":
        assert xlsx_lines(content)[0]["notes"] == "bell and  escape"
    else:
        assert b"bell and  escape" in content
