"""Whatever stands in a sheet: it is read as it was meant, or refused with a message."""

from __future__ import annotations

import io
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from surveys.importing import Sheet, UnusableFile, check_sheet, read_sheet
from surveys.importing.columns import COLUMN_BY_NAME, COLUMNS
from surveys.submission import Submission, as_data
from tests.chance import tries
from tests.conftest import Cast
from tests.surveys.importing.sheets import csv_of, sheet_of

quick = settings(
    max_examples=tries(60), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

FAMILIES = ["Baetidae", "Gammaridae", "Elmidae", "Chironomidae", "Perlidae"]
amounts = st.one_of(st.integers(0, 5000).map(str), st.sampled_from(["1-9", "10-99", "100-999", "1000+"]))
counts = st.dictionaries(st.sampled_from(FAMILIES), amounts, min_size=1)
readings = st.fixed_dictionaries(
    {},
    optional={
        "temperature_c": st.decimals(0, 30, places=1).map(str),
        "ph": st.decimals(4, 10, places=1).map(str),
        "conductivity_us_cm": st.integers(20, 3000).map(str),
        "phosphate_mg_l_po4": st.sampled_from(["<0.05", "0.12", "2"]),
        "water_level": st.sampled_from(["low", "normal", "high"]),
        "weather": st.sampled_from(["dry", "heavy_rain"]),
        "notes": st.text("abc ,;\"'\n=+-@", max_size=20).map(str.strip),
    },
)
days = st.dates(date(2000, 1, 1), date(2024, 12, 31)).map(date.isoformat)


def written(submission: Submission) -> dict[str, Any]:
    return as_data(submission)


@pytest.mark.django_db
@quick
@given(day=days, found=counts, said=readings)
def test_it_reads_a_visit_as_it_was_written(
    cast: Cast, day: str, found: dict[str, str], said: dict[str, str]
) -> None:
    rows = [{"date": day, "taxon": taxon, "count": amount, **said} for taxon, amount in found.items()]
    checked = check_sheet(group=cast.group, sheet=sheet_of(*rows))
    assert checked.problems == ()
    (submission,) = checked.submissions
    data = written(submission)
    assert {each["taxon"]: each.get("count") or each["range"] for each in data["counts"]} == found
    assert data["visited_on"] == day
    assert (data["water_level"], data["notes"]) == (said.get("water_level", ""), said.get("notes", ""))
    for name in said.keys() & {"temperature_c", "ph", "conductivity_us_cm", "phosphate_mg_l_po4"}:
        quantity = COLUMN_BY_NAME[name].field.rpartition(".")[2]
        assert data["measurements"][quantity]["value"] == said[name]
        assert data["measurements"][quantity]["unit"] == COLUMN_BY_NAME[name].unit


def sheet_or_message(content: bytes, name: str) -> Sheet | str:
    try:
        return read_sheet(io.BytesIO(content), name)
    except UnusableFile as unusable:
        return str(unusable)


cells = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["0", "-1", "1e9", "1-9", "2024-05-03", "=1+1", "AB1", "standard", "riffle", "NaN", "∞", "½"]
    ),
    st.sampled_from([column.example for column in COLUMNS]),
)
odd_rows = st.lists(
    st.dictionaries(st.sampled_from(sorted(COLUMN_BY_NAME)), cells, max_size=12), min_size=1, max_size=6
)


@pytest.mark.django_db
@quick
@given(odd_rows)
def test_it_answers_any_cells_with_visits_or_messages(cast: Cast, rows: list[dict[str, str]]) -> None:
    sheet = sheet_or_message(csv_of(rows), "x.csv")
    if isinstance(sheet, str):
        assert sheet
        return
    checked = check_sheet(group=cast.group, sheet=sheet)
    numbers = {row.number for row in sheet.rows}
    assert all(each.message and (each.row in numbers or each.row == 1) for each in checked.problems)
    assert all(not each.column or each.column in sheet.header for each in checked.problems)
    assert checked.problems or checked.submissions


@quick
@given(st.binary(max_size=400), st.sampled_from(["x.csv", "x.xlsx", "x.tsv"]))
def test_it_answers_any_bytes_with_a_sheet_or_a_message(content: bytes, name: str) -> None:
    sheet = sheet_or_message(content, name)
    assert sheet if isinstance(sheet, str) else sheet.rows


@quick
@given(st.lists(st.tuples(st.sampled_from(FAMILIES), st.integers(0, 99)), min_size=1, max_size=20))
def test_it_reads_back_every_row_of_a_csv(rows: list[tuple[str, int]]) -> None:
    content = csv_of([{"taxon": taxon, "count": str(count)} for taxon, count in rows])
    sheet = read_sheet(io.BytesIO(content), "x.csv")
    assert [(row.cells["taxon"], int(row.cells["count"])) for row in sheet.rows] == rows
    assert [row.number for row in sheet.rows] == list(range(2, len(rows) + 2))
