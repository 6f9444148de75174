"""The chart of a site, read back from its SVG."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portal.charts import Point, TriggerLine, draw_history, history_rows
from tests.charts.making import (
    NAMES,
    START,
    SVG,
    TRIGGER,
    monthly,
    of_class,
    parsed,
    title_of,
    visit_marks,
    words_of,
)

DAY = timedelta(days=1)


def test_it_says_the_figures_in_its_name() -> None:
    points = [*monthly(78, 90, 84), Point(START + 90 * DAY, 31, below=True), Point(START + 120 * DAY, None)]
    assert title_of(parsed(draw_history(points, [TRIGGER], **NAMES))) == (
        "BMWP score at Alder Ford: 5 visits from 10 Jan 2024 to 9 May 2024; lowest 31, highest 90, latest 31; "
        "trigger 50; below the trigger: 1; without a score: 1."
    )


def test_it_counts_untested_visits_in_its_name_and_says_when_there_is_no_trigger() -> None:
    name = title_of(parsed(draw_history([Point(START, 7.25, tested=False)], [], **NAMES)))
    assert name.endswith(
        "one visit on 10 Jan 2024; lowest 7.25, highest 7.25, latest 7.25; no trigger; not tested: 1."
    )


def test_it_explains_its_shapes_in_words() -> None:
    desc = parsed(draw_history(monthly(1), [], **NAMES))[1].text or ""
    for word in ("circles", "triangles pointing down", "diamonds", "crosses", "broken"):
        assert word in desc


def test_it_draws_each_state_in_its_own_shape() -> None:
    points = [
        Point(START, 60),
        Point(START + 30 * DAY, 40, below=True),
        Point(START + 60 * DAY, 70, tested=False),
        Point(START + 90 * DAY, None),
    ]
    root = parsed(draw_history(points, [TRIGGER], **NAMES))
    corners = {
        s: [e.get("d", "").count("L") for e in visit_marks(root, s)] for s in ("below", "untested", "unscored")
    }
    assert [e.tag for e in visit_marks(root, "normal")] == [f"{SVG}circle"]
    assert corners == {"below": [2], "untested": [3], "unscored": [2]}


def test_it_fills_tested_marks_and_leaves_untested_ones_hollow() -> None:
    points = [
        Point(START, 60),
        Point(START + 30 * DAY, 40, below=True),
        Point(START + 60 * DAY, 70, tested=False),
    ]
    root = parsed(draw_history(points, [TRIGGER], **NAMES))
    fills = {s: visit_marks(root, s)[0].get("fill") for s in ("normal", "below", "untested")}
    assert fills["untested"] == "#ffffff"
    assert "#ffffff" not in (fills["normal"], fills["below"])


def test_it_points_the_triangle_of_a_low_visit_downwards() -> None:
    root = parsed(draw_history([Point(START, 40, below=True)], [TRIGGER], **NAMES))
    path = visit_marks(root, "below")[0].get("d", "")
    ys = [float(corner.split()[1]) for corner in path.strip("MZ").split("L")]
    assert ys[0] == ys[1] < ys[2]


def test_it_breaks_the_line_at_a_gap() -> None:
    assert len(of_class(parsed(draw_history(monthly(1, 2, 3, 4), [], **NAMES)), "rb-line")) == 1
    assert len(of_class(parsed(draw_history(monthly(1, 2, None, 3, 4), [], **NAMES)), "rb-line")) == 2


def test_it_stands_a_visit_without_a_score_on_the_axis() -> None:
    root = parsed(draw_history(monthly(60, None, 70), [], **NAMES))
    axis = float(of_class(root, "rb-axis")[0].get("y1", "0"))
    ys = [
        float(n.split()[1])
        for n in visit_marks(root, "unscored")[0].get("d", "").replace("M", "L").split("L")[1:]
    ]
    assert all(axis - 20 < y <= axis for y in ys)


def test_it_draws_the_range_of_a_score_as_a_whisker() -> None:
    root = parsed(draw_history([Point(START, 60, low=52, high=71)], [], **NAMES))
    lines = visit_marks(root, "bounds")
    stem = lines[0]
    assert len(lines) == 3
    assert float(stem.get("y1", "0")) > float(stem.get("y2", "0"))
    assert "possible range" in words_of(root)


def test_it_draws_no_whisker_for_an_exact_score() -> None:
    assert visit_marks(parsed(draw_history([Point(START, 60, low=60, high=60)], [], **NAMES)), "bounds") == []


def test_it_draws_triggers_as_steps_with_their_levels() -> None:
    lines = [TriggerLine(50, date(2023, 1, 1), date(2024, 6, 30)), TriggerLine(56, date(2024, 7, 1))]
    root = parsed(draw_history(monthly(*[80.0] * 12), lines, **NAMES))
    first, second = (e for e in of_class(root, "rb-trigger") if float(e.get("y1", "0")) < 200)
    assert float(first.get("x2", "0")) == pytest.approx(float(second.get("x1", "0")), abs=3)
    assert float(first.get("y1", "0")) > float(second.get("y1", "0"))
    assert {"trigger 50", "trigger 56"} <= set(words_of(root))


def test_it_leaves_out_a_trigger_that_was_over_before_the_first_visit() -> None:
    old = TriggerLine(500, date(2010, 1, 1), date(2011, 1, 1))
    root = parsed(draw_history(monthly(60, 70), [old], **NAMES))
    assert "trigger 500" not in words_of(root)
    assert "500" not in words_of(root)


def test_it_leaves_out_a_trigger_word_longer_than_its_line() -> None:
    short = TriggerLine(40, START + 10 * DAY, START + 12 * DAY)
    words = words_of(parsed(draw_history(monthly(*[80.0] * 12), [short], **NAMES)))
    assert "trigger 40" not in words
    assert "trigger" in words


def test_it_shades_the_days_in_question() -> None:
    window = (START + 30 * DAY, START + 60 * DAY)
    root = parsed(draw_history(monthly(1, 2, 3, 4), [], emphasis=window, **NAMES))
    turned = parsed(draw_history(monthly(1, 2, 3, 4), [], emphasis=window[::-1], **NAMES))
    box = of_class(root, "rb-window")[0]
    assert float(box.get("width", "0")) > 50
    assert of_class(turned, "rb-window")[0].attrib == box.attrib
    assert "period in question" in words_of(root)


def test_it_writes_the_unit_beside_the_index() -> None:
    assert "ASPT (per taxon)" in words_of(
        parsed(draw_history([], [], title="T", index_name="ASPT", unit="per taxon"))
    )
    assert "ASPT" in words_of(parsed(draw_history([], [], title="T", index_name="ASPT")))


def test_it_explains_only_what_it_shows() -> None:
    words = words_of(parsed(draw_history(monthly(5, 6), [], **NAMES)))
    assert "visit" in words
    assert not {"trigger", "below the trigger", "not tested against the trigger", "possible range"} & set(words)


def test_it_writes_the_figure_beside_the_latest_and_the_low_visits() -> None:
    points = [*monthly(78, 90), Point(START + 60 * DAY, 31.5, below=True), Point(START + 90 * DAY, 77)]
    strong = [e.text for e in of_class(parsed(draw_history(points, [TRIGGER], **NAMES)), "rb-text-strong")]
    assert strong == ["BMWP score", "31.5", "77"]


def test_it_stops_writing_low_figures_when_they_are_many() -> None:
    points = [Point(START + n * 30 * DAY, 30 + n, below=True) for n in range(6)]
    strong = [e.text for e in of_class(parsed(draw_history(points, [TRIGGER], **NAMES)), "rb-text-strong")]
    assert strong == ["BMWP score", "35"]


def test_it_tells_a_resting_pointer_about_each_visit() -> None:
    point = Point(START, 31, below=True, note="grey water & <foam>")
    groups = parsed(draw_history([point], [TRIGGER], **NAMES)).findall(f"{SVG}g")
    assert [g[0].text for g in groups] == ["10 Jan 2024: 31, below the trigger (grey water & <foam>)"]


def test_it_says_so_when_there_is_no_visit_yet() -> None:
    root = parsed(draw_history([], [], **NAMES))
    assert title_of(root) == "BMWP score at Alder Ford. No visits yet."
    assert "No visits yet" in words_of(root)


def test_it_draws_a_trigger_before_any_visit() -> None:
    root = parsed(draw_history([], [TriggerLine(50, START)], **NAMES))
    assert "trigger 50" in words_of(root)


@pytest.mark.parametrize(
    "points",
    [monthly(60), monthly(60, 60, 60), monthly(0), monthly(-5, -2, 3), monthly(None), monthly(None, None, 5)],
    ids=["single", "all equal", "zero", "negative", "one unscored", "mostly unscored"],
)
def test_it_draws_unusual_sets_inside_its_box(points: list[Point]) -> None:
    root = parsed(draw_history(points, [], **NAMES))
    for element in root.iter():
        for name in ("x", "x1", "x2", "cx"):
            assert 0 <= float(element.get(name, "0")) <= 720
        for name in ("y", "y1", "y2", "cy"):
            assert 0 <= float(element.get(name, "0")) <= 280


def test_it_writes_a_real_minus_sign_on_the_axis() -> None:
    assert "−6" in words_of(parsed(draw_history(monthly(-5, 5), [], **NAMES)))


def test_it_puts_higher_scores_higher() -> None:
    marks = visit_marks(parsed(draw_history(monthly(10, 20), [], **NAMES)), "normal")
    assert float(marks[0].get("cy", "0")) > float(marks[1].get("cy", "0"))
    assert float(marks[0].get("cx", "0")) < float(marks[1].get("cx", "0"))


def test_it_draws_a_thousand_visits_each_once_and_smaller() -> None:
    many = [Point(START + n * 7 * DAY, float(n % 90)) for n in range(1000)]
    root = parsed(draw_history(many, [TRIGGER], **NAMES))
    few = parsed(draw_history(many[:10], [TRIGGER], **NAMES))
    assert len(visit_marks(root, "normal")) == 1000
    assert float(visit_marks(root, "normal")[0].get("r", "9")) < float(
        visit_marks(few, "normal")[0].get("r", "0")
    )


def test_it_does_not_mind_the_order_visits_come_in() -> None:
    points = monthly(5, 6, None, 8, 9)
    assert draw_history(reversed(points), [], **NAMES) == draw_history(points, [], **NAMES)


def test_it_draws_the_same_bytes_twice() -> None:
    points = monthly(5.123, 6.7, None, 8, 9)
    assert draw_history(points, [TRIGGER], **NAMES) == draw_history(iter(points), iter([TRIGGER]), **NAMES)


def test_it_holds_nothing_a_strict_policy_refuses() -> None:
    point = Point(START, 4, note="<style>*{}</style>")
    svg = draw_history(
        [point], [TRIGGER], title='"><script>x</script>', index_name="<b onload=x>", unit="</text>"
    )
    root = parsed(svg)
    assert {e.tag.split("}")[1] for e in root.iter()} <= {
        "svg",
        "title",
        "desc",
        "g",
        "text",
        "line",
        "path",
        "circle",
        "rect",
    }
    assert not [a for e in root.iter() for a in e.attrib if a.startswith("on") or a in ("style", "id", "href")]


@pytest.mark.parametrize(("width", "height"), [(199, 280), (720, 159), (0, 0), (-5, 400)])
def test_it_refuses_a_box_too_small_to_read(width: int, height: int) -> None:
    with pytest.raises(ValueError, match="200 by 160"):
        draw_history([], [], width=width, height=height, **NAMES)


@pytest.mark.parametrize("width", [200, 300, 720, 1400])
def test_it_keeps_its_legend_inside_the_box(width: int) -> None:
    points = [
        Point(START, 60, low=50, high=70),
        Point(START + 30 * DAY, 4, below=True),
        Point(START + 60 * DAY, None),
    ]
    root = parsed(draw_history(points, [TRIGGER], width=width, height=320, **NAMES))
    assert all(float(e.get("y", "0")) <= 320 for e in root.iter(f"{SVG}text"))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.builds(
            Point,
            st.dates(date(1950, 1, 1), date(2090, 1, 1)),
            st.one_of(st.none(), st.floats(-500, 500)),
            tested=st.booleans(),
            below=st.booleans(),
            note=st.text(max_size=12),
        ),
        max_size=30,
    )
)
def test_it_marks_every_visit_of_any_set_once(points: list[Point]) -> None:
    root = parsed(draw_history(points, [TRIGGER], **NAMES))
    states = [p.state for p in points]
    for state in ("normal", "below", "untested", "unscored"):
        assert len(visit_marks(root, state)) == states.count(state)


def test_it_gives_the_table_behind_the_chart() -> None:
    points = [
        Point(START + 60 * DAY, None, note="too high"),
        Point(START, 60, low=55, high=66),
        Point(START + 30 * DAY, 40, below=True),
        Point(START + 90 * DAY, 70, tested=False),
    ]
    rows = history_rows(points, [TriggerLine(50, START + 30 * DAY)])
    assert [(r.value, r.trigger, r.meaning, r.note) for r in rows] == [
        (60, None, "no trigger", ""),
        (40, 50, "below the trigger", ""),
        (None, 50, "visit without a score", "too high"),
        (70, 50, "not tested against the trigger", ""),
    ]
    assert (rows[0].low, rows[0].high, rows[0].when) == (55, 66, START)


def test_it_calls_a_tested_visit_at_or_above_the_trigger_in_the_table() -> None:
    assert history_rows([Point(START, 50)], [TRIGGER])[0].meaning == "at or above the trigger"


def test_it_tells_a_visit_of_other_effort_by_shape_word_and_count() -> None:
    points = [*monthly(78, 90), Point(START + 60 * DAY, 70, tested=False, standard=False)]
    root = parsed(draw_history(points, [TRIGGER], **NAMES))
    assert [each.tag for each in visit_marks(root, "nonstandard")] == [f"{SVG}rect"]
    assert "effort not standard" in words_of(root)
    assert "effort not standard: 1" in title_of(root)


def test_a_low_figure_near_the_base_line_stands_beside_its_mark() -> None:
    root = parsed(draw_history([*monthly(78, 90), Point(START + 60 * DAY, 1, below=True)], [TRIGGER], **NAMES))
    figure = next(each for each in root.iter(f"{SVG}text") if each.text == "1")
    base = next(each for each in of_class(root, "rb-axis"))
    mark = visit_marks(root, "below")[0].get("d", "")
    assert float(figure.get("y", "")) < float(base.get("y1", "")) - 8
    assert float(figure.get("x", "")) + 4 < min(float(pair.split()[0]) for pair in mark.strip("MZ").split("L"))


def test_a_visit_below_the_trigger_stays_one_and_its_row_tells_the_effort() -> None:
    low = Point(START, 40, low=35, high=44, below=True, standard=False, note="grey water")
    assert low.state == "below"
    row = history_rows([low], [TRIGGER])[0]
    assert (row.meaning, row.note) == ("below the trigger", "effort not standard; grey water")
    assert "35 to 44 possible" in draw_history([low], [TRIGGER], **NAMES)
