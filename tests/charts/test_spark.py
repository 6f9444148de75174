"""The chart the size of a word."""

from __future__ import annotations

from datetime import timedelta

import pytest

from portal.charts import Point, sparkline
from tests.charts.making import NAMES, START, SVG, TRIGGER, Title, monthly, of_class, parsed, title_of

TITLE: Title = {"title": NAMES["title"]}


def test_it_still_says_its_figures_in_words() -> None:
    name = title_of(parsed(sparkline(monthly(60, 70), [TRIGGER], **TITLE)))
    assert name == (
        "BMWP score at Alder Ford: 2 visits from 10 Jan 2024 to 9 Feb 2024; lowest 60, "
        "highest 70, latest 70; trigger 50."
    )


def test_it_writes_no_text() -> None:
    assert list(parsed(sparkline(monthly(60, 70), [TRIGGER], **TITLE)).iter(f"{SVG}text")) == []


def test_it_marks_only_the_latest_visit_while_all_is_well() -> None:
    root = parsed(sparkline(monthly(60, 70, 65), [TRIGGER], **TITLE))
    assert len(of_class(root, "rb-normal")) == 1


def test_it_marks_every_visit_below_the_trigger() -> None:
    low = Point(START - timedelta(days=30), 40, below=True)
    root = parsed(sparkline([low, *monthly(60, 70)], [TRIGGER], **TITLE))
    assert len(of_class(root, "rb-below")) == 1
    assert len(of_class(root, "rb-normal")) == 1


def test_it_draws_the_trigger_of_the_latest_visit_only_where_there_is_one() -> None:
    assert len(of_class(parsed(sparkline(monthly(60), [TRIGGER], **TITLE)), "rb-trigger")) == 1
    assert of_class(parsed(sparkline(monthly(60), **TITLE)), "rb-trigger") == []


@pytest.mark.parametrize("points", [[], monthly(None), monthly(5), monthly(5, 5, 5), monthly(-4, None, -9)])
def test_it_draws_any_set_inside_its_box(points: list[Point]) -> None:
    root = parsed(sparkline(points, [TRIGGER], width=100, height=30, **TITLE))
    for mark in of_class(root, "rb-normal"):
        assert 0 <= float(mark.get("cx", "0")) <= 100
        assert 0 <= float(mark.get("cy", "0")) <= 30


def test_it_breaks_the_line_at_a_gap() -> None:
    assert len(of_class(parsed(sparkline(monthly(5, 6, None, 7), **TITLE)), "rb-line")) == 2
