"""The sketch of sites and rivers."""

from __future__ import annotations

from itertools import combinations
from typing import Any
from xml.etree import ElementTree

from portal.reports.sketch import draw_sketch, state_of

SVG = "{http://www.w3.org/2000/svg}"


def site(code: str, downstream: str = "", **fields: Any) -> dict[str, Any]:
    usual = {"code": code, "river": "Alder Beck", "downstream": downstream, "below": 0, "not_below": 3}
    return {**usual, "latitude": 54.5, "longitude": -2.5, "is_rounded": False, **fields}


def drawn(*sites: dict[str, Any]) -> ElementTree.Element:
    return ElementTree.fromstring(draw_sketch(sites, title="Sketch", description="Sketch", lang="en"))


def words(root: ElementTree.Element) -> list[str]:
    return [str(each.text) for each in root.iter(f"{SVG}text")]


def rivers(root: ElementTree.Element) -> int:
    return sum(each.get("class") == "rb-river" for each in root.iter(f"{SVG}path"))


def test_rivers_run_from_site_to_site_and_end_at_the_last_of_the_report() -> None:
    root = drawn(site("A", "B"), site("B", "ELSEWHERE", latitude=54.4), site("C", "B", longitude=-2.6))
    assert rivers(root) == 2
    assert rivers(drawn(site("A", "ELSEWHERE"))) == 0


def test_the_state_of_a_year_has_a_shape() -> None:
    found = [state_of(site("A", below=b, not_below=n)) for b, n in ((1, 5), (0, 5), (0, 0))]
    assert found == ["below", "normal", "untested"]


def test_each_river_is_named_once_and_each_site_has_its_code() -> None:
    root = drawn(site("A1", "A2"), site("A2", latitude=54.48), site("B1", "A2", river="Withy", longitude=-2.6))
    told = words(root)
    assert sorted(told) == sorted(["A1", "A2", "B1", "Alder Beck", "Withy", "N", "1 km"])


def test_labels_of_sites_that_lie_close_do_not_cover_each_other() -> None:
    root = drawn(*(site(f"S{n}", latitude=54.5 + n * 0.0004) for n in range(3)), site("FAR", latitude=54.6))
    places = [
        (float(each.get("x", 0)), float(each.get("y", 0)))
        for each in root.iter(f"{SVG}text")
        if str(each.text).startswith("S")
    ]
    assert all(abs(a[0] - b[0]) > 14 or abs(a[1] - b[1]) >= 12 for a, b in combinations(places, 2))


def test_a_group_that_hides_places_gives_none_away() -> None:
    """The drawing is the same wherever the sites lie: nothing of a place can be read from it."""
    near = [site("A", "B", is_rounded=True), site("B", is_rounded=True, latitude=54.4)]
    far = [{**each, "latitude": each["latitude"] * 0.5, "longitude": 9.0} for each in near]
    assert ElementTree.tostring(drawn(*near)) == ElementTree.tostring(drawn(*far))
    assert not {"N", "1 km", "2 km", "5 km"} & set(words(drawn(*near)))
