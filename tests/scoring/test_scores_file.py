"""A file of dated scores: what is refused, with file and row, and how advice on it reads."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from scoring.advice import ASSUMES, Advice, advise_trigger
from scoring.csv_file import CsvFileError
from scoring.scores_file import format_advice, read_scores


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "scores.csv"


def read(path: Path, text: str) -> list[tuple[date, float]]:
    path.write_text(text, encoding="utf-8")
    return read_scores(path)


def advice(**wishes: Any) -> Advice:
    scores = [(date(2024, 1 + at % 12, 5), 40.0 + 7 * at % 31) for at in range(24)]
    return advise_trigger(scores, index="bmwp", visits_per_year=12, **wishes)


def test_it_reads_dates_and_scores_in_the_order_of_the_file(path: Path) -> None:
    scores = read(path, "date,score\n2026-05-03,61\n2025-04-02, 5.25\n\n2026-06-01,-3\n")
    assert scores == [(date(2026, 5, 3), 61), (date(2025, 4, 2), 5.25), (date(2026, 6, 1), -3)]


def test_it_reads_what_a_spreadsheet_writes(path: Path) -> None:
    path.write_bytes(b"\xef\xbb\xbfDate,Score\r\n2026-05-03,61\r\n,\r\n")
    assert read_scores(path) == [(date(2026, 5, 3), 61)]


@pytest.mark.parametrize("day", ["03/05/2026", "2026-02-30", "May", "2026-5-3", "20"])
def test_it_refuses_a_date_that_is_none(path: Path, day: str) -> None:
    with pytest.raises(CsvFileError) as refused:
        read(path, f"date,score\n2026-05-03,61\n{day},60\n")
    assert str(refused.value) == f"{path}: row 3 has the date {day!r}; a date such as 2026-05-03 is needed"


@pytest.mark.parametrize("score", ["good", "nan", "inf", "6_1", "1e999", "6.1.2"])
def test_it_refuses_a_score_that_is_no_number(path: Path, score: str) -> None:
    with pytest.raises(CsvFileError) as refused:
        read(path, f"date,score\n2026-05-03,{score}\n")
    assert str(refused.value) == f"{path}: row 2 has the score {score!r}; a number is needed"


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("day,score\n2026-05-03,61\n", "row 1 must be the header date,score"),
        ("", "row 1 must be the header date,score"),
        ("date,score\n", "no rows below the header"),
        ("date,score\n2026-05-03\n", "row 2 has 1 columns, not 2"),
        ("date,score\n2026-05-03,\n", "row 2 has no score"),
        ('date,score\n"2026-05-03,61\n', "is not valid CSV"),
    ],
)
def test_it_refuses_a_file_of_another_shape(path: Path, text: str, problem: str) -> None:
    with pytest.raises(CsvFileError) as refused:
        read(path, text)
    assert str(path) in str(refused.value)
    assert problem in str(refused.value)


def test_it_writes_all_figures_as_json() -> None:
    told = json.loads(format_advice(advice(false_alarms_per_year=0.6, level=44, falls=[10]), "json"))
    assert told["suggested_level"] == told["suggestion"]["level"]["level"]
    assert told["asked"]["level"] == 44
    assert told["asked"]["catches"][0]["fall"] == 10
    assert set(told["asked"]["false_alarms_per_year"]) == {"value", "low", "high"}
    assert told["baseline"]["n"] == 24
    assert (told["is_provisional"], told["method_version"]) == (False, "1980-table-1")
    assert (told["assumes"], told["seed"]) == (ASSUMES, 1)


def test_it_writes_no_suggested_level_where_none_can_be_told() -> None:
    told = json.loads(format_advice(advice(false_alarms_per_year=0.1), "json"))
    assert told["suggested_level"] is None
    assert told["suggestion"]["visits_needed"] == 119
    assert json.loads(format_advice(advice(), "json"))["suggestion"] is None


def test_it_tells_the_same_in_sentences() -> None:
    found = advice(false_alarms_per_year=0.6, falls=[10])
    text = format_advice(found, "text")
    assert found.suggestion is not None
    assert found.suggestion.level is not None
    assert text.startswith("BMWP: 24 visits, median ")
    assert f"Suggested level for at most 0.6 false alarms a year: {found.suggestion.level.level:g}.\n" in text
    assert "If scores followed a bell curve, " in text
    assert "fall by 10: caught at the next visit " in text
    assert text.endswith(ASSUMES + "\n")


def test_it_marks_the_level_that_no_visit_was_below_yet() -> None:
    text = format_advice(advice(), "text")
    assert text.count("; no visit was below it yet") == 1
    assert "Suggested" not in text


def test_it_tells_the_cautions_and_that_no_level_can_be_suggested() -> None:
    text = format_advice(advice(false_alarms_per_year=0.1), "text")
    assert "Caution: 24 visits cannot tell" in text
    assert "No level can be suggested for at most 0.1 false alarms a year." in text
