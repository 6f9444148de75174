"""How frozen figures are written for a reader."""

from __future__ import annotations

import pytest

from portal.reports.templatetags.reporting import (
    as_cell,
    as_day,
    as_level,
    as_moment,
    as_short_day,
    not_shown,
    score_of,
)


@pytest.mark.parametrize(
    ("scores", "index", "written"),
    [
        ({"aspt": 48 / 7}, "aspt", "6.86"),
        ({"aspt": 2.5}, "aspt", "2.50"),
        ({"bmwp": 48.0}, "bmwp", "48"),
        ({"bmwp": None}, "bmwp", "–"),
        ({}, "bmwp", "–"),
    ],
)
def test_scores_are_rounded_to_their_methods_decimals(
    scores: dict[str, float | None], index: str, written: str
) -> None:
    assert score_of(scores, index) == written


@pytest.mark.parametrize(("tally", "written"), [((2, 3), "2 / 3"), ((0, 3), "0 / 3"), ((0, 0), "–")])
def test_not_found_differs_from_not_looked_for(tally: tuple[int, int], written: str) -> None:
    assert as_cell(tally) == written


@pytest.mark.parametrize(("level", "written"), [(4.5, "4.5"), (40.0, "40"), (None, "–")])
def test_a_level_has_no_idle_zeros(level: float | None, written: str) -> None:
    assert as_level(level) == written


def test_dates_are_written_as_people_say_them() -> None:
    assert as_day("2025-05-04") == "4 May 2025"
    assert as_day(None) == "–"
    assert as_short_day("2025-05-04") == "4 May"
    assert as_moment("2025-05-04T18:20:00+01:00") == "4 May 2025, 18:20"


def test_names_without_a_place_are_listed_once() -> None:
    assert not_shown([{"left_out": ["Nematoda", "Acari"]}, {"left_out": ["Acari"]}]) == ["Acari", "Nematoda"]
