"""The map of sites, read back from its SVG."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from datetime import date
from typing import Any, get_args

import pytest
from pyproj import Geod

from portal.charts import MapSite, Tiles, down_the_river, draw_map, site_words, to_png
from portal.charts.courses import courses, order_downstream
from portal.charts.map import RADIUS, WIDTH, MapState
from tests.charts.making import SVG, of_class, parsed, title_of, words_of

DAY = date(2026, 5, 3)
TILES = Tiles("https://tiles.example/{z}/{x}/{y}.png")


def site(key: str, latitude: float, longitude: float, state: Any = "normal", **fields: Any) -> MapSite:
    given: dict[str, Any] = {"score": "BMWP 74", "when": DAY, "name": f"Site {key}", "river": "Alder Beck"}
    return MapSite(key=key, code=key, latitude=latitude, longitude=longitude, state=state, **given | fields)


RIVER = [
    site("A1", 54.47, -2.61, downstream="A3", href="/a1/"),
    site("B1", 54.45, -2.63, "below", downstream="A3", river="Fen Brook", href="/b1/"),
    site("A3", 54.44, -2.59, "untested", downstream="A4", is_old=True, href="/a3/"),
    site("A4", 54.42, -2.58, "unvisited", score="", when=None, href="/a4/"),
]


def drawn(sites: list[MapSite], **options: Any) -> Any:
    return parsed(draw_map(sites, title="Sites of a group", description="How to read it.", **options))


def spots(root: Any) -> dict[str, tuple[float, float]]:
    """Where each site's mark stands, by the first word of its title."""
    found = {}
    for place in (each for each in root.iter() if each.tag in (f"{SVG}a", f"{SVG}g")):
        reach = place.find(f"{SVG}circle")
        if reach is not None:
            found[place[0].text.split()[0]] = (float(reach.get("cx")), float(reach.get("cy")))
    return found


def test_each_site_is_a_link_that_says_in_words_what_its_shape_says() -> None:
    links = list(drawn(RIVER).iter(f"{SVG}a"))
    assert {each.get("href"): each[0].text for each in links} == {
        "/a1/": "A1 Site A1, normal: BMWP 74, 3 May 2026",
        "/b1/": "B1 Site B1, below the trigger: BMWP 74, 3 May 2026",
        "/a3/": "A3 Site A3, not tested (old): BMWP 74, 3 May 2026",
        "/a4/": "A4 Site A4, no visit yet",
    }


def test_links_come_in_the_order_of_the_water() -> None:
    order = [each.get("href") for each in drawn(list(reversed(RIVER))).iter(f"{SVG}a")]
    assert order.index("/a1/") < order.index("/a3/") < order.index("/a4/")
    assert order.index("/b1/") < order.index("/a3/")


def test_a_map_with_links_is_read_through_and_one_without_is_a_picture() -> None:
    assert drawn(RIVER).get("role") == "group"
    without = [site("A1", 54.4, -2.6)]
    assert drawn(without).get("role") == "img"
    assert title_of(drawn(without)) == "Sites of a group"
    assert list(drawn(without).iter(f"{SVG}a")) == []


def test_every_state_has_a_shape_of_its_own_and_its_word_in_the_legend() -> None:
    states = get_args(MapState)
    sites = [site(f"S{n}", 54.4 + n / 100, -2.6, state) for n, state in enumerate(states)]
    root = drawn(sites)
    shapes = {state: of_class(root, f"rb-{state}") for state in states}
    # Once on the map, once in the legend.
    assert {state: len(found) for state, found in shapes.items()} == dict.fromkeys(states, 2)
    outlines = {(each[0].tag, re.sub(r"[\d.-]+", "", each[0].get("d") or "")) for each in shapes.values()}
    assert len(outlines) == len(states)
    words = words_of(root)
    for word in ("normal", "below the trigger", "not tested", "no score", "no visit yet"):
        assert word in words
    assert "old" not in words
    assert "old" in words_of(drawn(RIVER))


def test_distances_and_directions_are_those_of_the_ellipsoid() -> None:
    root = drawn(RIVER)
    at = spots(root)
    geod = Geod(ellps="WGS84")
    scales = []
    for one, two in itertools.combinations(RIVER, 2):
        bearing, _, metres = geod.inv(one.longitude, one.latitude, two.longitude, two.latitude)
        east, south = (b - a for a, b in zip(at[one.key], at[two.key], strict=True))
        scales.append(math.hypot(east, south) / metres)
        assert math.degrees(math.atan2(east, -south)) % 360 == pytest.approx(bearing % 360, abs=0.5)
    assert max(scales) / min(scales) < 1.005
    label = next(word for word in words_of(root) if word.endswith(" m"))
    bar = next(each for each in of_class(root, "rb-axis") if each.get("y1") == each.get("y2"))
    drawn_as = float(bar.get("x2") or 0) - float(bar.get("x1") or 0)
    assert drawn_as / float(label.removesuffix(" m")) == pytest.approx(sum(scales) / len(scales), rel=0.005)


@pytest.mark.parametrize("latitude", [-54.0, 0.0, 69.5])
def test_all_of_it_stays_on_the_paper_anywhere(latitude: float) -> None:
    sites = [site(f"S{n}", latitude + n / 200, 10 + (n % 3) / 5) for n in range(9)]
    for tiles in (None, TILES):
        root = drawn(sites, tiles=tiles)
        high = float(root.get("height"))
        assert all(0 < x < WIDTH and 0 < y < high for x, y in spots(root).values())


def names(root: Any) -> dict[str, tuple[float, float]]:
    """The middle of each line of text: codes and rivers."""
    groups = [*of_class(root, "rb-text-map"), *of_class(root, "rb-text-river")]
    lines = [each for group in groups for each in group.iter(f"{SVG}text") if each.text]
    return {each.text or "": (float(each.get("x", "nan")), float(each.get("y", "nan")) - 5) for each in lines}


def test_a_phone_can_show_it_and_codes_stand_clear_of_the_marks() -> None:
    codes = ["MILL" + each.key for each in RIVER]
    sites = [replace(each, key=code, code=code, downstream="") for each, code in zip(RIVER, codes, strict=True)]
    root = drawn(sites)
    # Shown 310 pixels wide on a phone of 360, where smaller words are not read.
    assert float(root.get("width")) <= 360
    assert float(of_class(root, "rb-text")[0].get("font-size", "nan")) * 310 / float(root.get("width")) > 11
    marks, at, high = spots(root), names(root), float(root.get("height"))
    assert all(0 < x < WIDTH and 0 < y < high for x, y in marks.values())
    for code in codes:
        # A bold capital is eleven pixels wide, a line fourteen high.
        half, (x, y) = 11 * len(code) / 2, at[code]
        assert half < x < WIDTH - half
        clear = [abs(x - a) - half >= RADIUS or abs(y - b) - 7 >= RADIUS for a, b in marks.values()]
        assert all(clear), code


def test_on_a_wide_sheet_the_codes_of_many_sites_stand_clear_of_each_other() -> None:
    sites = [site(f"MI{n:02}", 54 + n % 14 / 60, -2.6 + n // 14 / 40 + n % 14 / 200) for n in range(40)]

    def in_each_others_way(root: Any) -> int:
        at = [place for word, place in names(root).items() if word.startswith("MI")]
        pairs = itertools.combinations(at, 2)
        return sum(abs(x - a) < 44 and abs(y - b) < 12 for (x, y), (a, b) in pairs)

    wide = drawn(sites, is_wide=True)
    assert float(wide.get("width")) == 720
    assert in_each_others_way(wide) == 0
    assert "No room" not in " ".join(words_of(wide))
    assert all(0 < x < 720 for x, _y in spots(wide).values())


def test_in_a_crowd_codes_without_room_are_left_out_and_the_map_says_so() -> None:
    """45 sites on four kilometres: those below the trigger and the rivers are named first."""
    sites = [
        site(
            f"MI{n:02}",
            54 + n % 15 / 400,
            -2.6 + n // 15 / 30 * (n % 15) / 15,
            "below" if n % 15 == 7 else "normal",
            river=f"River {n // 15}",
        )
        for n in range(45)
    ]
    root = drawn(sites)
    at = names(root)
    codes = {word: place for word, place in at.items() if word.startswith("MI")}
    assert 10 < len(codes) < 45
    assert {"MI07", "MI22", "MI37"} <= set(codes)
    assert {"River 0", "River 1", "River 2"} <= set(at)
    pairs = itertools.combinations(at.items(), 2)
    wide = {word: 11 * len(word) if word in codes else 7.5 * len(word) for word in at}
    crossed = [
        (one, two)
        for (one, (x, y)), (two, (a, b)) in pairs
        if abs(x - a) < (wide[one] + wide[two]) / 2 - 5 and abs(y - b) < 10
    ]
    assert crossed == []
    assert len(spots(root)) == 45
    note = next(
        each for each in of_class(root, "rb-text") if each.text == "No room for every code: see the list."
    )
    assert float(note.get("y", "nan")) < float(root.get("height"))


def test_the_legend_breaks_into_rows_that_fit() -> None:
    told = of_class(drawn(RIVER), "rb-text")
    assert len({each.get("y") for each in told}) > 1
    assert all(float(each.get("x", "nan")) + 6.5 * len(each.text or "") < WIDTH for each in told)


def test_sites_rounded_to_one_place_stand_apart() -> None:
    at = list(spots(drawn([site(f"S{n}", 54.4, -2.6) for n in range(12)])).values())
    assert min(math.dist(one, two) for one, two in itertools.combinations(at, 2)) > 2 * RADIUS


def test_a_site_of_another_page_is_a_dot_without_name_or_link() -> None:
    root = drawn([*RIVER, site("Z9", 54.43, -2.6, is_aside=True, href="/z9/")])
    assert len(of_class(root, "rb-aside")) == 1
    assert "/z9/" not in [each.get("href") for each in root.iter(f"{SVG}a")]
    assert "Z9" not in words_of(root)


def test_tiles_lie_under_the_sites_where_their_own_scheme_puts_them() -> None:
    root = drawn(RIVER, tiles=TILES)
    at = spots(root)
    tile = next(iter(root.iter(f"{SVG}image")))
    level, column, row = (int(each) for each in re.findall(r"\d+", tile.get("href")))
    side = float(tile.get("width")) - 0.5
    for each in RIVER:
        # Slippy map tile names, as the scheme's own documents reckon them.
        x = (each.longitude + 180) / 360 * 2**level
        y = (1 - math.asinh(math.tan(math.radians(each.latitude))) / math.pi) / 2 * 2**level
        assert at[each.key][0] == pytest.approx(float(tile.get("x")) + (x - column) * side, abs=0.6)
        assert at[each.key][1] == pytest.approx(float(tile.get("y")) + (y - row) * side, abs=0.6)
    assert list(drawn(RIVER).iter(f"{SVG}image")) == []


def test_tiles_cover_the_paper_and_no_more_are_asked_for_than_that_takes() -> None:
    tiles = list(drawn(RIVER, tiles=TILES).iter(f"{SVG}image"))
    assert len({each.get("href") for each in tiles}) == len(tiles) <= 20
    assert min(float(each.get("x")) for each in tiles) <= 0
    assert max(float(each.get("x")) + float(each.get("width")) for each in tiles) >= WIDTH


def test_fifty_sites_stay_light() -> None:
    sites = [
        site(
            f"S{n}", 54 + n / 50, -2.6 + (n % 7) / 50, downstream=f"S{n + 1}", href=f"/public/a-group/{n:036}/"
        )
        for n in range(50)
    ]
    assert len(draw_map(sites, title="t", description="d")) < 40_000


def test_hostile_words_stay_words() -> None:
    root = drawn([site("<b>", 54.4, -2.6, name='"><script>', river="</svg>")])
    assert root.find(f".//{SVG}script") is None
    assert "</svg>" in words_of(root)


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one site"):
        draw_map([], title="t", description="d")


def test_it_makes_a_picture() -> None:
    assert to_png(draw_map(RIVER, title="t", description="d"), width=560).startswith(b"\x89PNG")


def test_a_ring_of_sites_is_drawn_all_the_same() -> None:
    ring = [site("A", 54.1, -2.1, downstream="B"), site("B", 54.2, -2.2, downstream="A")]
    assert set(spots(drawn(ring))) == {"A", "B"}
    assert {each.key for each in down_the_river(ring)} == {"A", "B"}


def test_the_longest_course_is_drawn_whole_and_branches_end_where_they_join() -> None:
    lower = {"A": "C", "B": "C", "C": "D", "D": "", "E": ""}
    assert courses(lower) == [["A", "C", "D"], ["B", "C"], ["E"]]
    assert order_downstream(lower) == ["A", "B", "C", "D", "E"]


def test_the_words_of_a_site_need_no_drawing() -> None:
    assert site_words(RIVER[3]) == "A4 Site A4, no visit yet"
