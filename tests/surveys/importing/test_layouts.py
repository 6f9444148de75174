"""Sheets in several layouts: which one it is, what their columns mean, and the cell behind every problem."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import pytest
from openpyxl import Workbook

from surveys.importing.laying import lay_out
from surveys.importing.plans import TAXON_COLUMN, guess_plan, is_plain, signature
from surveys.importing.raw import read_raw
from surveys.importing.reading import MOST_COLUMNS, UnusableFile
from tests.conftest import Cast
from tests.surveys.importing.layouts import (
    BY_TAXON,
    BY_VISIT,
    SIDE_BY_SIDE,
    Lines,
    checked,
    laid,
    raw_of,
)

LAYOUTS = [("taxon_rows", BY_TAXON), ("visit_rows", BY_VISIT), ("visit_columns", SIDE_BY_SIDE)]


@pytest.mark.parametrize(("layout", "lines"), LAYOUTS)
def test_it_tells_the_layout_and_what_each_column_is(layout: str, lines: Lines) -> None:
    plan = guess_plan(raw_of(lines))
    assert plan.layout == layout
    assert plan.is_usable
    assert plan.date_order == "dmy"


@pytest.mark.django_db
@pytest.mark.parametrize(("layout", "lines"), LAYOUTS)
def test_every_layout_says_the_same_of_its_visits(cast: Cast, layout: str, lines: Lines) -> None:
    found = checked(cast.group, lines)
    assert found.problems == ()
    first, second = found.submissions
    assert [each.visited_on for each in (first, second)] == [date(2024, 5, 3), date(2024, 6, 13)]
    assert [(each.taxon, each.count, each.low) for each in first.counts] == [
        ("Baetidae", 12, None),
        ("Elmidae", None, None),
    ]
    assert [(each.taxon, each.count) for each in second.counts] == [("Baetidae", 3)]
    reading = first.reading("temperature")
    assert reading is not None
    assert float(reading.value) == 11.5


@pytest.mark.django_db
def test_a_visit_has_one_number_in_all_layouts(cast: Cast) -> None:
    numbers = [{each.id for each in checked(cast.group, lines).submissions} for _layout, lines in LAYOUTS]
    assert numbers[0] == numbers[1] == numbers[2]


def changed(lines: Lines, row: int, column: int, text: str) -> Lines:
    """The sheet with one cell typed anew, counted from nought."""
    table = [list(line) for line in lines]
    table[row][column] = text
    return table


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("lines", "row", "column", "cell", "name"),
    [
        (BY_TAXON, 3, 3, "D4", "Abundance"),
        (BY_TAXON, 1, 4, "E2", "Water temp"),
        (BY_VISIT, 2, 4, "E3", "Baetidae"),
        (BY_VISIT, 1, 3, "D2", "Temp"),
        (SIDE_BY_SIDE, 4, 2, "C5", "Elmidae"),
        (SIDE_BY_SIDE, 2, 1, "B3", "Temp"),
    ],
)
def test_a_problem_names_the_cell_it_concerns(
    cast: Cast, lines: Lines, row: int, column: int, cell: str, name: str
) -> None:
    (problem,) = checked(cast.group, changed(lines, row, column, "many")).problems
    assert (problem.row, problem.cell, problem.column, problem.value) == (row + 1, cell, name, "many")


@pytest.mark.django_db
def test_what_a_whole_line_lacks_is_said_once(cast: Cast) -> None:
    (problem,) = checked(cast.group, changed(BY_VISIT, 1, 1, "")).problems
    assert (problem.cell, problem.message) == ("B2", "Fill this in for every row.")


@pytest.mark.django_db
def test_one_visit_in_two_lines_is_told_by_their_own_names(cast: Cast) -> None:
    twice = [*BY_VISIT, BY_VISIT[1]]
    words = " ".join(each.message for each in checked(cast.group, twice).problems)
    assert "already, in row 2." in words
    table = [[*line, line[1]] for line in SIDE_BY_SIDE]
    assert "already, in column B." in " ".join(each.message for each in checked(cast.group, table).problems)


def test_an_empty_count_is_nothing_or_nought_as_the_plan_says() -> None:
    plan = guess_plan(raw_of(BY_VISIT))
    assert [row.cells["count"] for row in laid(BY_VISIT).rows] == ["12", "present", "3"]
    told = laid(BY_VISIT, replace(plan, empty_is_none=True)).rows
    assert [row.cells["count"] for row in told] == ["12", "present", "3", "0"]


def test_a_visit_that_was_not_made_looked_for_nothing() -> None:
    lines = [("Site", "Date", "not made", "Baetidae", "Elmidae"), ("AB1", "2024-05-03", "too_high", "", "")]
    plan = replace(guess_plan(raw_of(lines)), empty_is_none=True)
    (row,) = laid(lines, plan).rows
    assert dict(row.cells) == {"site": "AB1", "date": "2024-05-03", "not_made": "too_high"}


def test_other_names_are_read_as_ours() -> None:
    lines = changed(changed(BY_VISIT, 0, 5, "Riffle things"), 1, 0, "Steps")
    guess = guess_plan(raw_of(lines), "visit_rows")
    columns = {**guess.columns, "Riffle things": TAXON_COLUMN}
    plan = replace(guess, columns=columns, taxa={"Riffle things": "Elmidae"}, sites={"Steps": "AB1"})
    rows = laid(lines, plan).rows
    assert [row.cells["taxon"] for row in rows] == ["Baetidae", "Elmidae", "Baetidae"]
    assert {row.cells["site"] for row in rows} == {"AB1"}


def test_a_plan_says_what_it_lacks_and_has_twice() -> None:
    plan = guess_plan(raw_of(BY_TAXON))
    without = replace(plan, columns={**plan.columns, "Day": ""})
    assert without.missing == ("date",)
    with pytest.raises(UnusableFile, match="date"):
        lay_out(raw_of(BY_TAXON), without, date(2026, 1, 1))
    assert replace(plan, columns={**plan.columns, "Sampler": "date"}).twice == ("date",)
    assert replace(plan, layout="visit_rows").missing == (TAXON_COLUMN,)


def test_of_two_likely_columns_the_one_of_that_very_name_is_taken() -> None:
    plan = guess_plan(raw_of([("Station", "Site", "Date", "Taxon", "Count"), ("a", "AB1", "x", "y", "1")]))
    assert (plan.columns["Station"], plan.columns["Site"]) == ("", "site")


def test_a_sheet_with_our_own_names_need_not_be_explained() -> None:
    ours = raw_of(
        [("site", "Date", "taxon", "count", "what_is_wrong"), ("AB1", "2024-05-03", "Baetidae", "1", "")]
    )
    assert is_plain(ours, guess_plan(ours))
    assert not is_plain(raw_of(BY_TAXON), guess_plan(raw_of(BY_TAXON)))


def test_sheets_of_one_making_have_one_signature() -> None:
    swapped = [tuple(reversed(line)) for line in BY_TAXON]
    noted = [(*line, "what_is_wrong") for line in BY_TAXON]
    same = signature(raw_of(BY_TAXON), "taxon_rows")
    assert same == signature(raw_of(swapped), "taxon_rows") == signature(raw_of(noted), "taxon_rows")
    assert same != signature(raw_of(BY_VISIT), "visit_rows")
    other_days = changed(SIDE_BY_SIDE, 1, 1, "4/5/2024")
    assert signature(raw_of(SIDE_BY_SIDE), "visit_columns") == signature(raw_of(other_days), "visit_columns")


def test_columns_without_a_name_or_with_the_same_are_told_apart() -> None:
    assert raw_of([("Count", "", "Count"), ("1", "2", "3")]).header == ("Count", "Column B", "Count (2)")


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ([("a", "b")], "no rows"),
        ([("", ""), ("1", "2")], "first row is empty"),
        ([("a",) * (MOST_COLUMNS + 1), ("1",)], "more than 200 columns"),
    ],
)
def test_it_refuses_what_is_no_sheet(lines: Lines, says: str) -> None:
    with pytest.raises(UnusableFile, match=says):
        raw_of(lines)


def test_it_keeps_to_a_number_of_rows_and_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surveys.importing.laying.MOST_COUNTS", 2)
    with pytest.raises(UnusableFile, match="counts"):
        laid(BY_VISIT)
    monkeypatch.setattr("surveys.importing.laying.MOST_COUNTS", 200)
    monkeypatch.setattr("surveys.importing.laying.MOST_VISITS", 1)
    with pytest.raises(UnusableFile, match="visits"):
        laid(BY_VISIT)
    monkeypatch.setattr("surveys.importing.raw.MOST_ROWS", 1)
    with pytest.raises(UnusableFile, match="rows"):
        raw_of(BY_VISIT)


def test_a_formula_is_read_as_the_value_saved_with_it() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["site", "date", "taxon", "count"])
    book.active.append(["AB1", date(2024, 5, 3), "Baetidae", "=1+1"])
    out = io.BytesIO()
    book.save(out)
    out.seek(0)
    # Nothing has calculated it yet, so that there is no value: it must not be run here.
    assert read_raw(out, "a.xlsx").rows == (("AB1", "2024-05-03", "Baetidae", ""),)


def test_turning_twice_changes_nothing() -> None:
    raw = raw_of(BY_VISIT)
    assert raw.turn().turn() == raw
