"""The table of columns holds to what it stands for: fields of a submission, quantities, answers, words."""

from __future__ import annotations

import csv
import io
from dataclasses import fields
from typing import Any

import pytest

from surveys.importing.columns import COLUMN_BY_NAME, COLUMNS, REQUIRED, VISIT_COLUMNS, Column, template_csv
from surveys.measuring.quantities import QUANTITIES
from surveys.models import SpotEffort, Visit
from surveys.submission import Spot, Submission
from surveys.submission.numbers import limit_or_value
from surveys.submission.types import Position
from tests.conftest import Cast
from tests.surveys.importing.sheets import checked

_PLACE = {"accuracy_m", "source"} & {each.name for each in fields(Position)}
by_name = pytest.mark.parametrize("column", COLUMNS, ids=lambda column: column.name)
READINGS = [column for column in COLUMNS if column.field.startswith("measurements.")]


@by_name
def test_it_fills_a_field_that_a_submission_has(column: Column) -> None:
    head, _dot, rest = column.field.partition(".")
    if column.name in ("taxon", "count", "visit", "whole_tray"):
        assert column.field == ""
        return
    # The three columns of a position make one part of a submission.
    assert head in {each.name for each in fields(Submission)} | {f"position_{each}" for each in _PLACE}
    if column.is_of_spot:
        assert rest.partition(".")[2] in {each.name for each in fields(Spot)}
    elif head == "measurements":
        assert rest in QUANTITIES


@pytest.mark.parametrize("column", READINGS, ids=lambda column: column.name)
def test_it_gives_readings_a_unit_that_the_quantity_knows(column: Column) -> None:
    quantity = QUANTITIES[column.field.partition(".")[2]]
    assert column.unit in quantity.units
    value, _is_limit = limit_or_value(column.example)
    low, high = quantity.error_range
    assert low <= quantity.in_first_unit(value, column.unit) <= high


def test_it_has_a_column_for_every_quantity_in_its_first_unit() -> None:
    assert {(column.field, column.unit) for column in READINGS} >= {
        (f"measurements.{key}", quantity.unit) for key, quantity in QUANTITIES.items()
    }


@pytest.mark.parametrize("name", ["not_made", "water_level", "clarity", "weather", "weather_past_week"])
def test_it_allows_the_answers_of_the_form(name: str) -> None:
    column = COLUMN_BY_NAME[name]
    field: Any = Visit._meta.get_field(column.field)
    assert set(column.words) == set(dict(field.flatchoices))


def test_it_allows_the_flow_types_of_the_form() -> None:
    field: Any = SpotEffort._meta.get_field("flow_type")
    assert set(COLUMN_BY_NAME["spot1_flow"].words) == set(dict(field.flatchoices))
    assert COLUMN_BY_NAME["spot12_flow"].words == COLUMN_BY_NAME["spot1_flow"].words


def test_it_requires_only_what_every_row_has() -> None:
    assert REQUIRED == ("site", "date", "taxon", "count")
    assert set(VISIT_COLUMNS) == set(COLUMN_BY_NAME) - {*REQUIRED, "whole_tray"}


def test_it_names_every_column_once_and_in_the_form_it_is_read() -> None:
    names = [column.name for column in COLUMNS]
    assert len(set(names)) == len(names)
    assert all(name == name.lower() and " " not in name for name in names)


def test_it_writes_a_template_as_wide_as_its_header() -> None:
    lines = list(csv.reader(io.StringIO(template_csv())))
    assert len({len(line) for line in lines}) == 1
    assert set(REQUIRED) <= set(lines[0])


@by_name
def test_it_reads_its_own_example(cast: Cast, column: Column) -> None:
    row = {column.name: column.example}
    if column.name == "not_made":
        row |= {"taxon": "", "count": ""}
    if column.is_of_spot:
        row = {"spot1_kicks": "3", "spot1_seconds": "30"} | row
    if column.name == "end":
        row["start"] = "10:00"
    if column.name == "whole_tray":
        row["fraction_sorted"] = "1/4"
    if column.name.startswith("position_"):
        row["position"] = COLUMN_BY_NAME["position"].example
    found = checked(cast, row)
    assert found.problems == ()
    assert found.new == 1


def test_it_reads_the_template_with_all_its_columns(cast: Cast) -> None:
    lines = list(csv.DictReader(io.StringIO(template_csv())))
    found = checked(cast, *lines)
    assert found.problems == ()
    (visit,) = found.submissions
    assert [entry.name for entry in visit.counts] == ["Baetidae", "Gammaridae"]
    assert len(visit.measurements) == len(QUANTITIES)
    assert visit.recorder_name == "Ada Fenn"
