"""The word beside a trigger's line stands where nothing else is drawn."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from xml.etree.ElementTree import Element

import pytest

from portal.charts import Point, TriggerLine, draw_history
from portal.charts.labels import clearest
from tests.charts.making import NAMES, START, TRIGGER, monthly, of_class, parsed, visit_marks, words_of

DAY = timedelta(days=1)
FLAT = [80.0] * 12
# Each series stands in the way of another place: under or above the near or the far end of the line at 50.
SERIES = {
    "nothing": FLAT,
    "low at first": [41.0, 43.0, 40.0, 42.0, *FLAT],
    "low at last": [*FLAT, 42.0, 40.0, 43.0, 41.0],
    "low all along": [40.0, 42.0] * 8,
    "high and low at first": [41.0, 57.0, 42.0, 58.0, 43.0, *FLAT],
    "low but in the middle": [41.0, 58.0, 42.0, 58.0, 43.0, *FLAT, 41.0, 58.0, 42.0, 58.0],
}


def label_box(root: Element, size: float = 12) -> tuple[float, float, float, float]:
    """Where the word is drawn, by the widths of the letters of DejaVu Sans Bold, pixels."""
    label = of_class(root, "rb-text-trigger")[0]
    x, y = float(label.get("x", "0")), float(label.get("y", "0"))
    return x, y - 0.76 * size, x + 6.1 * size, y + 0.24 * size


def drawn_places(root: Element) -> list[tuple[float, float]]:
    """Points all along the line of the scores and at the marks."""
    found = []
    for path in of_class(root, "rb-line"):
        ends = [tuple(map(float, each.split())) for each in path.get("d", "").strip("M").split("L")]
        for (x, y), (x_end, y_end) in pairwise(ends):
            found += [(x + (x_end - x) * n / 100, y + (y_end - y) * n / 100) for n in range(101)]
    return found


@pytest.mark.parametrize("width", [360, 720])
@pytest.mark.parametrize("name", SERIES)
def test_it_crosses_neither_line_nor_marks_nor_figures(name: str, width: int) -> None:
    points = [Point(each.when, each.value, below=(each.value or 0) < 50) for each in monthly(*SERIES[name])]
    root = parsed(draw_history(points, [TRIGGER], width=width, **NAMES))
    left, top, right, bottom = label_box(root)
    inside = [(x, y) for x, y in drawn_places(root) if left < x < right and top < y < bottom]
    assert inside == []
    assert 0 < left < right < width
    figures = [e for e in of_class(root, "rb-text-strong")[1:] if left < float(e.get("x", "0")) < right]
    assert [e.text for e in figures if top < float(e.get("y", "0")) - 5 < bottom] == []


def test_it_stands_under_the_near_end_while_there_is_room() -> None:
    root = parsed(draw_history(monthly(*FLAT), [TRIGGER], **NAMES))
    line = next(e for e in of_class(root, "rb-trigger") if e.get("x1") != "6")
    left, top, _right, _bottom = label_box(root)
    assert (left, top > float(line.get("y1", "0"))) == (float(line.get("x1", "0")) + 5, True)


def test_a_trigger_set_again_at_its_level_is_one_line_with_one_word() -> None:
    """Lines of the same level that do not meet, or of other levels, stay by themselves."""
    again, later = START + timedelta(days=100), START + timedelta(days=200)
    lines = [
        TriggerLine(50, START, again - DAY),
        TriggerLine(50, again, later - DAY),
        TriggerLine(60, later, later + 150 * DAY),
        TriggerLine(50, later + 200 * DAY),
    ]
    root = parsed(draw_history(monthly(*[80.0] * 20), lines[::-1], **NAMES))
    assert [word for word in words_of(root) if word.startswith("trigger ")] == [
        "trigger 50",
        "trigger 60",
        "trigger 50",
    ]


def test_the_figure_of_the_latest_visit_stands_clear_of_the_marks_before_it() -> None:
    points = [
        *monthly(*FLAT * 3),
        Point(START + timedelta(days=1080), 84.0),
        Point(START + timedelta(days=1085), 80.0),
    ]
    root = parsed(draw_history(points, [], width=360, **NAMES))
    figure = of_class(root, "rb-text-strong")[-1]
    x, y = float(figure.get("x", "0")), float(figure.get("y", "0"))
    marks = [(float(each.get("cx", "0")), float(each.get("cy", "0"))) for each in visit_marks(root, "normal")]
    assert figure.text == "80"
    assert [(a, b) for a, b in marks if abs(a - x) < 10 and y - 12 < b < y + 2] == []


def test_it_is_written_even_where_there_is_no_room_at_all() -> None:
    points = monthly(*[47.0, 54.0, 46.0, 53.0] * 30)
    root = parsed(draw_history(points, [TRIGGER, TriggerLine(53, START)], width=360, **NAMES))
    assert {"trigger 50", "trigger 53"} <= set(words_of(root))
    assert visit_marks(root, "normal")


def test_a_line_that_only_passes_by_hides_nothing() -> None:
    boxes = [(0.0, 0.0, 10.0, 10.0), (20.0, 0.0, 30.0, 10.0)]
    passing = [((-5.0, 12.0), (40.0, 12.0)), ((12.0, -5.0), (12.0, 20.0)), ((-9.0, 5.0), (9.0, -13.0))]
    assert clearest(boxes, [], passing) == boxes[0]
    assert clearest(boxes, [], [((-5.0, -5.0), (15.0, 15.0))]) == boxes[1]
    assert clearest(boxes, [(5.0, 5.0, 6.0, 6.0)], passing) == boxes[1]
    assert clearest(boxes, [], [((5.0, 5.0), (6.0, 5.0)), ((21.0, 5.0), (29.0, 5.0))]) == boxes[0]
