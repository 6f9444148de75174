"""The line of a river, read back from its SVG."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest

from portal.charts import RiverPlace, draw_river, state_word, to_png
from portal.charts.points import State
from portal.charts.river import NARROWEST
from tests.charts.making import SVG, of_class, parsed, title_of, visit_marks, words_of

DAY = date(2026, 5, 3)


def place(name: str, state: Any = "normal", **fields: Any) -> RiverPlace:
    given: dict[str, Any] = {"score": "BMWP score 74", "when": DAY} | fields
    return RiverPlace(name, state, **given)


RIVER = [
    place("Top Ford", into=2, in_stretch=True),
    place("Beck foot", "untested", into=2, in_stretch=True, opens_up=True),
    place("Old Ford", "below", score="BMWP score 21", into=3, is_here=True),
    place("Weir Pool", is_old=True),
]


def drawn(places: list[RiverPlace], **options: Any) -> Any:
    return parsed(draw_river(places, title="The river at Old Ford", **options))


def heights(root: Any) -> dict[str, float]:
    return {each.text or "": float(each.get("y")) for each in root.iter(f"{SVG}text")}


def test_it_names_the_sites_and_what_it_shows_for_those_who_do_not_see_it() -> None:
    assert title_of(drawn(RIVER, told="The cause most likely lies above.")) == (
        "The river at Old Ford: Top Ford, normal: BMWP score 74, 3 May 2026; "
        "Beck foot, not tested: BMWP score 74, 3 May 2026; Old Ford, low: BMWP score 21, 3 May 2026; "
        "Weir Pool, normal: BMWP score 74, 3 May 2026 (old). The cause most likely lies above."
    )


def test_it_runs_from_the_uppermost_site_down() -> None:
    at = heights(drawn(RIVER))
    assert at["Top Ford"] < at["Beck foot"] < at["Old Ford"] < at["Weir Pool"] < at["flows on downstream"]


def test_it_gives_each_state_a_shape_and_a_word() -> None:
    states: tuple[State, ...] = ("normal", "below", "untested", "unscored")
    root = drawn([place(each, each, into=row + 1) for row, each in enumerate(states)] + [place("End")])
    assert [len(visit_marks(root, each)) for each in states] == [2, 1, 1, 1]
    for state in states:
        assert any(words.startswith(state_word(state)) for words in words_of(root))


def test_it_hatches_only_the_stretch_in_question_and_says_what_the_hatching_means() -> None:
    root = drawn(RIVER)
    hatched = [each for each in of_class(root, "rb-stretch") if each.tag == f"{SVG}path"]
    # Two reaches, and the water above the site that nothing is known above.
    assert len(hatched) == 3
    assert "the cause most likely lies here" in words_of(root)


def test_it_explains_no_hatching_where_there_is_none() -> None:
    root = drawn([place("Top Ford", into=1), place("Old Ford", is_here=True)])
    assert of_class(root, "rb-stretch") == []
    assert "the cause most likely lies here" not in words_of(root)


def test_it_draws_a_branch_beside_the_river_and_joins_it_above_the_site() -> None:
    root = drawn(RIVER)
    courses = [each.get("d", "") for each in of_class(root, "rb-river")]
    starts = {float(re.match(r"M([\d.]+)", each)[1]) for each in courses}  # type: ignore[index]
    assert len(starts) >= 2
    joining = next(each for each in courses if "L" in each and each.startswith("M46"))
    assert joining.split("L")[1].startswith("20 ")


def test_it_rings_the_site_in_question_only() -> None:
    assert len(of_class(drawn(RIVER), "rb-here")) == 1
    assert of_class(drawn([place("Top Ford")]), "rb-here") == []


def test_it_says_of_a_site_nobody_has_visited_that_it_was_not() -> None:
    assert "no visit yet" in words_of(drawn([place("Top Ford", "unscored", score="", when=None)]))


def test_it_says_old_of_an_old_visit() -> None:
    assert any(words.endswith("(old)") for words in words_of(drawn(RIVER)))


def test_it_shortens_a_long_name_in_the_drawing_and_keeps_it_in_the_title() -> None:
    name = "The long old bridge by the mill below the village of many words"
    root = drawn([place(name)], width=NARROWEST)
    assert name not in words_of(root)
    assert any(words.endswith("…") for words in words_of(root))
    assert name in title_of(root)


def test_it_grows_with_its_sites() -> None:
    few, many = (
        float(drawn([place(str(n), into=n + 1) for n in range(last)] + [place("End")]).get("height"))
        for last in (1, 9)
    )
    assert many - few == 8 * 48


def test_it_escapes_names() -> None:
    assert "<b>" not in draw_river([place("<b>Ford</b>")], title="&")


def test_it_can_be_a_picture() -> None:
    assert to_png(draw_river(RIVER, title="T"), width=400).startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("places", "width"),
    [([], 460), (RIVER, NARROWEST - 1), ([place("A", into=0)], 460), ([place("A"), place("B", into=0)], 460)],
    ids=["nothing", "narrow", "into itself", "uphill"],
)
def test_it_refuses_what_cannot_be_drawn(places: list[RiverPlace], width: int) -> None:
    with pytest.raises(ValueError, match="site"):
        draw_river(places, title="T", width=width)
