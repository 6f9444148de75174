"""The scores along the scale of their index, read back from the SVG."""

from __future__ import annotations

import pytest

from portal.charts import draw_spread
from tests.charts.making import NAMES, SVG, of_class, parsed, title_of, visit_marks, words_of

SCORES = [40, 44, 44, 47, 52, 52, 52, 60]


def heights(svg: str) -> dict[str, list[str]]:
    """Vertical places of the circles by their horizontal one."""
    found: dict[str, list[str]] = {}
    for mark in visit_marks(parsed(svg), "normal"):
        found.setdefault(mark.get("cx", ""), []).append(mark.get("cy", ""))
    return found


def test_it_draws_one_mark_for_each_visit() -> None:
    root = parsed(draw_spread(SCORES, **NAMES))
    assert len(visit_marks(root, "normal")) == len(SCORES)
    assert visit_marks(root, "below") == []


def test_it_piles_up_like_scores() -> None:
    piles = sorted(len(each) for each in heights(draw_spread(SCORES, **NAMES)).values())
    assert piles == [1, 1, 1, 2, 3]
    for places in heights(draw_spread(SCORES, **NAMES)).values():
        assert len(set(places)) == len(places)


def test_it_places_higher_scores_further_to_the_right() -> None:
    marks = visit_marks(parsed(draw_spread(SCORES, **NAMES)), "normal")
    assert [float(mark.get("cx", "")) for mark in marks] == sorted(float(mark.get("cx", "")) for mark in marks)


def test_it_gives_visits_strictly_below_the_level_another_shape() -> None:
    root = parsed(draw_spread(SCORES, level=44, **NAMES))
    assert len(visit_marks(root, "below")) == 1
    assert len(visit_marks(root, "normal")) == len(SCORES) - 1


def test_it_draws_the_level_between_the_scores_it_parts() -> None:
    root = parsed(draw_spread(SCORES, level=46, **NAMES))
    line = of_class(root, "rb-trigger")[0]
    assert line.get("x1") == line.get("x2")
    circles = [float(mark.get("cx", "")) for mark in visit_marks(root, "normal")]
    assert float(line.get("x1", "")) < min(circles)
    assert "level 46" in words_of(root)


def test_it_says_the_figures_in_its_name() -> None:
    assert title_of(parsed(draw_spread(SCORES, level=46, **NAMES))) == (
        "BMWP score at Alder Ford: baseline visits: 8; lowest 40, middle 49.5, highest 60; "
        "below a level of 46: 3."
    )
    assert "level" not in title_of(parsed(draw_spread(SCORES, **NAMES)))


def test_it_explains_only_what_it_shows() -> None:
    assert "visit below the level" not in words_of(parsed(draw_spread(SCORES, level=30, **NAMES)))
    assert "baseline visit" not in words_of(parsed(draw_spread(SCORES, level=99, **NAMES)))
    assert "level" not in words_of(parsed(draw_spread(SCORES, **NAMES)))


def test_it_keeps_a_level_far_from_all_scores_in_the_drawing() -> None:
    for level in (-20.0, 3.0, 400.0):
        root = parsed(draw_spread(SCORES, level=level, **NAMES))
        line = of_class(root, "rb-trigger")[0]
        assert 0 < float(line.get("x1", "")) < 720
        label = next(each for each in root.iter(f"{SVG}text") if (each.text or "").startswith("level "))
        assert label.get("text-anchor") == ("end" if level == 400.0 else "start")


@pytest.mark.parametrize("number", [1, 30, 400])
def test_it_keeps_the_highest_pile_inside_however_many_visits(number: int) -> None:
    root = parsed(draw_spread([50.0] * number, **NAMES))
    tops = [float(mark.get("cy", "")) for mark in visit_marks(root, "normal")]
    assert len(tops) == number
    assert min(tops) > 30


def test_it_says_so_when_there_is_no_baseline() -> None:
    root = parsed(draw_spread([], unit="points", level=30, **NAMES))
    assert title_of(root) == "BMWP score at Alder Ford. No baseline visit yet."
    assert {"No baseline visit yet", "BMWP score (points)"} <= set(words_of(root))


def test_it_draws_the_same_bytes_whatever_the_order() -> None:
    assert draw_spread(SCORES, level=44, **NAMES) == draw_spread(reversed(SCORES), level=44, **NAMES)
