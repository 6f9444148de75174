"""Marks, labels and the legend, each by itself; whole drawings are in the tests of each chart."""

from __future__ import annotations

from itertools import pairwise
from xml.etree.ElementTree import Element

import pytest

from portal.charts.marks import SWATCH, Key, legend_rows, mark, radius_for, range_note, whisker
from portal.charts.scales import Frame
from portal.charts.svg import text_width
from portal.charts.words import words_for
from tests.charts.making import START

STATES = ("normal", "below", "nonstandard", "untested", "unscored")
WORDS = words_for("en")


def shape(state: str) -> str:
    """The outline, without its place in the style sheet: what is left in grey."""
    drawn = mark(Element("svg"), state, 50, 50, 4)  # type: ignore[arg-type]
    return drawn.tag + "".join(f"{name}={value} " for name, value in drawn.items() if name != "class")


def test_every_state_has_a_shape_of_its_own() -> None:
    assert len({shape(state) for state in STATES}) == len(STATES)


@pytest.mark.parametrize(("count", "radius"), [(1, 4.6), (60, 4.6), (61, 3.4), (200, 3.4), (201, 2)])
def test_marks_shrink_where_many_stand_side_by_side(count: int, radius: float) -> None:
    assert radius_for(count) == radius


@pytest.mark.parametrize(("low", "high"), [(None, None), (None, 60), (52, None), (60, 60)])
def test_a_certain_score_has_no_range(low: float | None, high: float | None) -> None:
    assert range_note(low, high, WORDS) == ""


def test_an_uncertain_score_tells_both_ends() -> None:
    assert range_note(52, 71.5, WORDS) == WORDS.between.format(low=WORDS.figure(52), high=WORDS.figure(71.5))


@pytest.mark.parametrize(
    ("figures", "lines"),
    [((None, 60, None), 0), ((60, 60, 60), 0), ((None, None, None), 0), ((52, 60, 71), 3), ((52, None, 71), 3)],
)
def test_a_range_is_a_line_with_two_ends(figures: tuple[float | None, ...], lines: int) -> None:
    group = Element("g")
    whisker(group, figures, frame(), 100, 4)
    assert len(group) == lines


def frame() -> Frame:
    return Frame(
        left=50, right=450, top=30, bottom=200, first=START, last=START.replace(year=2025), low=0, high=100
    )


def test_the_legend_breaks_where_the_next_entry_would_not_fit() -> None:
    keys = [Key("normal", "as usual"), Key("below", "below the trigger"), Key("untested", "not tested")]
    widths = [SWATCH + text_width(key.label) + 10 for key in keys]
    assert [len(row) for row in legend_rows(keys, sum(widths))] == [3]
    assert [len(row) for row in legend_rows(keys, sum(widths) - 1)] == [2, 1]
    # One that is wider than the row stands in it all the same.
    assert [len(row) for row in legend_rows(keys, 1)] == [1, 1, 1]


def test_entries_of_a_row_stand_beside_each_other() -> None:
    keys = [Key("normal", "as usual"), Key("below", "below the trigger")]
    (row,) = legend_rows(keys, 1000)
    assert row[0][0] == 0
    assert all(right >= left + SWATCH for (left, _one), (right, _other) in pairwise(row))
