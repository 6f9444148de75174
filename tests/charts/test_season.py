"""The pattern over the months, read back from its SVG."""

from __future__ import annotations

from datetime import date

import pytest

from portal.charts import Point, draw_season
from portal.charts.season import monthly_medians
from tests.charts.making import NAMES, SVG, of_class, parsed, title_of, visit_marks, words_of

VISITS = [
    Point(date(2023, 5, 4), 80),
    Point(date(2024, 5, 9), 90),
    Point(date(2025, 5, 2), 70.5),
    Point(date(2024, 7, 1), 60),
    Point(date(2025, 7, 1), 62),
]


def test_it_takes_the_median_of_each_month() -> None:
    assert monthly_medians(VISITS) == {5: 80, 7: 61}


def test_it_leaves_unscored_visits_out_of_the_median() -> None:
    assert monthly_medians([Point(date(2024, 1, 1), None)]) == {}


def test_it_says_the_pattern_in_its_name() -> None:
    assert title_of(parsed(draw_season(VISITS, **NAMES))) == (
        "BMWP score at Alder Ford: 5 scored visits by month, 4 May 2023 to 1 Jul 2025; "
        "middle of all years: May 80, Jul 61."
    )


def test_it_fills_the_visits_of_the_latest_year() -> None:
    root = parsed(draw_season(VISITS, **NAMES))
    assert len(visit_marks(root, "normal")) == 2
    assert len(visit_marks(root, "earlier")) == 3
    assert "2025" in words_of(root)


@pytest.mark.parametrize(("year", "filled"), [(2023, 1), (2024, 2), (1999, 0)])
def test_it_fills_the_visits_of_the_year_asked_for(year: int, filled: int) -> None:
    root = parsed(draw_season(VISITS, year=year, **NAMES))
    assert len(visit_marks(root, "normal")) == filled
    assert str(year) in words_of(root)


def test_it_draws_a_bar_for_each_month_that_has_scores() -> None:
    root = parsed(draw_season(VISITS, **NAMES))
    legend = 1
    assert len(of_class(root, "rb-middle")) == 2 + legend


def test_it_leaves_out_visits_that_were_not_tested_or_have_no_score() -> None:
    odd = [Point(date(2024, 1, 1), 5, tested=False), Point(date(2024, 2, 1), None)]
    root = parsed(draw_season([*VISITS, *odd], **NAMES))
    assert len(root.findall(f"{SVG}g")) == len(VISITS)


def test_it_names_the_months_and_shortens_them_on_a_narrow_drawing() -> None:
    assert "May" in words_of(parsed(draw_season(VISITS, **NAMES)))
    narrow = words_of(parsed(draw_season(VISITS, width=300, **NAMES)))
    assert "May" not in narrow
    assert narrow.count("J") == 3


def test_it_places_a_leap_day() -> None:
    root = parsed(draw_season([Point(date(2024, 2, 29), 5)], **NAMES))
    assert len(visit_marks(root, "normal")) == 1


def test_it_says_so_when_there_is_nothing_to_compare() -> None:
    root = parsed(draw_season([], unit="points", **NAMES))
    assert title_of(root) == "BMWP score at Alder Ford. No visits yet."
    assert {"No visits yet", "BMWP score (points)"} <= set(words_of(root))


def test_it_draws_the_same_bytes_twice() -> None:
    assert draw_season(VISITS, **NAMES) == draw_season(reversed(VISITS), **NAMES)


def test_it_shows_uncertain_scores_as_ranges_and_leaves_other_effort_out() -> None:
    wide = Point(date(2025, 3, 1), 60, low=20, high=140)
    root = parsed(draw_season([wide, Point(date(2025, 4, 1), 500, standard=False)], **NAMES))
    assert len(visit_marks(root, "bounds")) == 3
    assert "possible range" in words_of(root)
    assert len(visit_marks(root, "normal")) == 1
    assert max(float(word) for word in words_of(root) if word.isdigit() and word != "2025") == 150


def test_it_says_how_to_read_the_months_and_nothing_of_a_trigger() -> None:
    assert "trigger" not in (parsed(draw_season(VISITS, **NAMES))[1].text or "")
