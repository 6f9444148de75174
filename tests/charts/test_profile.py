"""The profile of a river, read back from its SVG."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from portal.charts import ProfileWords, Station, draw_profile
from portal.charts.profile import MOST_ON_PHONE
from tests.charts.making import of_class, parsed, title_of, words_of

WORDS = ProfileWords("BMWP", "usual score", "middle half", "How to read it.")


def drawn(*stations: Station) -> Any:
    return parsed(draw_profile(stations, title="Down the river", words=WORDS))


UPPER = Station("A1", "Top", "normal", 80, None, 70, 60, 90, into=1)
LOWER = Station("A2", "Foot", "below", 20, None, 50, 40, 55)


def test_higher_scores_stand_higher_and_sites_stand_from_left_to_right() -> None:
    upper, lower = of_class(drawn(UPPER, LOWER), "rb-middle")[:2]
    assert float(upper.get("y1") or 0) < float(lower.get("y1") or 0)
    assert float(upper.get("x1") or 0) < float(lower.get("x1") or 0)
    assert title_of(drawn(UPPER, LOWER)) == "Down the river"


def test_a_line_joins_only_sites_that_flow_into_each_other() -> None:
    assert len(of_class(drawn(UPPER, LOWER), "rb-line")) == 1
    assert of_class(drawn(LOWER, LOWER), "rb-line") == []


def test_a_site_without_scores_keeps_its_column_and_has_no_mark() -> None:
    root = drawn(UPPER, Station("A9", "Bare", "unvisited"))
    assert "A9" in words_of(root)
    assert "no visit yet" not in words_of(root)


def test_a_phone_shows_it_whole_with_marks_that_stand_apart() -> None:
    stations = [replace(UPPER, code=f"A{n}", into=None) for n in range(MOST_ON_PHONE)]
    root = parsed(draw_profile(stations, title="Down the river", words=WORDS, is_narrow=True))
    boxes = of_class(root, "rb-spread")[:MOST_ON_PHONE]
    lefts = [float(each.get("x") or 0) for each in boxes]
    assert float(root.get("width") or 0) <= 340
    assert min(b - a for a, b in pairwise(lefts)) > float(boxes[0].get("width") or 0) + 4


@pytest.mark.parametrize("stations", [(), (Station("A", "a", "normal", 1, into=0),)])
def test_what_cannot_be_drawn_is_refused(stations: tuple[Station, ...]) -> None:
    with pytest.raises(ValueError, match=r"at least one|above it"):
        drawn(*stations)
