"""The control chart, read back from its SVG."""

from __future__ import annotations

from datetime import timedelta
from xml.etree.ElementTree import Element

import pytest

from portal.charts import ControlPoint, control_state, draw_control
from tests.charts.making import NAMES, START, SVG, of_class, parsed, title_of, visit_marks, words_of


def points(*values: float, lower: float = 30, upper: float = 70) -> list[ControlPoint]:
    """One visit every 30 days from the start, all with the same limits."""
    days = [START + timedelta(days=30 * n) for n in range(len(values))]
    return [ControlPoint(day, value, lower, upper) for day, value in zip(days, values, strict=True)]


VISITS = points(50, 29, 30, 71, 70, 55)


@pytest.mark.parametrize(
    ("value", "state"), [(29.9, "under"), (30, "within"), (50, "within"), (70, "within"), (70.1, "over")]
)
def test_it_takes_a_value_at_a_limit_for_within(value: float, state: str) -> None:
    assert control_state(points(value)[0]) == state


def test_it_gives_each_side_a_shape_of_its_own() -> None:
    root = parsed(draw_control(VISITS, center=50, **NAMES))
    assert [len(visit_marks(root, state)) for state in ("normal", "below", "untested")] == [4, 1, 1]


def test_it_says_the_figures_in_its_name() -> None:
    assert title_of(parsed(draw_control(VISITS, center=50, **NAMES))) == (
        "BMWP score at Alder Ford: 6 visits from 10 Jan 2024 to 8 Jun 2024; usual level 50; "
        "below the lower limit: 1; above the upper limit: 1."
    )


def test_it_draws_both_limits_and_the_usual_level_between_them() -> None:
    drawn = draw_control(VISITS, center=50, **NAMES)
    center = float(of_class(parsed(drawn), "rb-center")[0].get("y1", ""))
    heights = [float(path.get("d", "").split("L")[0].split(" ")[1]) for path in _limits(drawn)]
    assert len(heights) == 2
    assert heights[1] < center < heights[0]


def _limits(svg: str) -> list[Element]:
    return [each for each in of_class(parsed(svg), "rb-limit") if each.tag == f"{SVG}path"]


def test_it_follows_limits_that_widen() -> None:
    widening = [
        ControlPoint(START, 50, 45, 55),
        ControlPoint(START + timedelta(days=30), 50, 40, 60),
    ]
    lower = _limits(draw_control(widening, center=50, **NAMES))[0].get("d", "")
    first, last = (float(place.split(" ")[1]) for place in lower.removeprefix("M").split("L"))
    assert last > first


def test_it_explains_only_what_it_shows() -> None:
    calm = words_of(parsed(draw_control(points(50, 51), center=50, **NAMES)))
    assert "below the lower limit" not in calm
    assert {"within the limits", "usual level", "control limits"} <= set(calm)


def test_it_draws_a_single_visit() -> None:
    root = parsed(draw_control(points(50), center=50, unit="points", **NAMES))
    assert len(visit_marks(root, "normal")) == 1
    assert _limits(draw_control(points(50), center=50, **NAMES)) == []
    assert "BMWP score (points)" in words_of(root)


def test_it_puts_visits_in_order_of_time() -> None:
    drawn = [draw_control(given, center=50, **NAMES) for given in (VISITS, list(reversed(VISITS)))]
    assert drawn[0] == drawn[1]


def test_it_keeps_every_mark_inside_the_plot() -> None:
    wild = points(-40, 300, 50)
    root = parsed(draw_control(wild, center=50, width=340, **NAMES))
    places = [group.find(f"{SVG}circle") for group in root.iter(f"{SVG}g")]
    circles = [place for place in places if place is not None]
    assert len(circles) == 1
    assert 34 <= float(circles[0].get("cy", "")) <= 230
    numbers = [text for text in words_of(root) if text.lstrip("\N{MINUS SIGN}").isdigit()]
    assert len(numbers) >= 2


def test_its_line_is_broken_where_visits_are_missing() -> None:
    days = (0, 30, 60, 300, 330)
    shown = [ControlPoint(START + timedelta(days=day), 50, 40, 60) for day in days]
    root = parsed(draw_control(shown, center=50, **NAMES))
    assert [path.get("d", "").count("L") for path in of_class(root, "rb-line")] == [2, 1]


def test_it_shows_an_uncertain_score_as_a_range_that_fits_the_axis() -> None:
    shown = [ControlPoint(START, 50, 40, 60, low=10, high=95)]
    root = parsed(draw_control(shown, center=50, **NAMES))
    assert len(visit_marks(root, "bounds")) == 3
    assert "possible range" in words_of(root)
    assert all(float(each.get("y1", "0")) > 30 for each in visit_marks(root, "bounds"))


def test_every_rule_of_the_axis_lies_within_the_plot() -> None:
    shown = [ControlPoint(START + timedelta(days=30 * n), 48 + n % 2, 46.3, 50.9) for n in range(9)]
    root = parsed(draw_control(shown, center=48.7, height=300, width=340, **NAMES))
    base = max(
        float(each.get("y1", "")) for each in of_class(root, "rb-axis") if each.get("y1") == each.get("y2")
    )
    assert max(float(each.get("y1", "")) for each in of_class(root, "rb-grid")) <= base
