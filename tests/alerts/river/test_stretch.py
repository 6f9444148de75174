"""In which stretch the cause most likely lies, for rivers as they stood; without a database."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from alerts.river.neighbours import Neighbour
from alerts.river.stretch import Stretch, find_stretches, mislead_words, stretch_words
from surveys.models import Site

LOW_DAY = date(2026, 6, 15)


def site(name: str, *above: Neighbour, state: Any = "normal", days: int = -5, direction: str = "") -> Neighbour:
    place = Site(name=name, visit_interval_days=30)
    when = None if state == "unscored" else LOW_DAY + timedelta(days=days)
    return Neighbour(place, direction, state=state, score="40", when=when, days=days, above=list(above))


def low(name: str, *above: Neighbour, days: int = 0) -> Neighbour:
    return site(name, *above, state="below", days=days)


def names(sites: list[Neighbour]) -> list[str]:
    return [each.site.name for each in sites]


def found(here: Neighbour) -> list[tuple[str, list[str], list[str]]]:
    """Lower end, upper ends and open ends of each stretch."""
    return [(each.lower.site.name, names(each.uppers), names(each.opens)) for each in find_stretches(here)]


def test_it_lies_below_the_nearest_normal_site() -> None:
    assert found(low("Here", site("Up", site("Higher")))) == [("Here", ["Up"], [])]


def test_it_lies_below_all_normal_sites_where_streams_join() -> None:
    assert found(low("Here", site("Left"), site("Right"))) == [("Here", ["Left", "Right"], [])]


def test_it_goes_further_up_where_the_site_upstream_was_low_as_well() -> None:
    assert found(low("Here", low("Up", site("Higher")))) == [("Up", ["Higher"], [])]


def test_it_follows_only_the_branch_that_was_low() -> None:
    assert found(low("Here", low("Left", site("Far left")), site("Right"))) == [("Left", ["Far left"], [])]


def test_it_gives_a_stretch_for_each_branch_that_was_low() -> None:
    assert found(low("Here", low("Left"), low("Right", site("Far")))) == [
        ("Left", [], ["Left"]),
        ("Right", ["Far"], []),
    ]


@pytest.mark.parametrize("state", ["untested", "unscored"])
def test_it_passes_a_site_that_tells_nothing(state: str) -> None:
    assert found(low("Here", site("Up", site("Higher"), state=state))) == [("Here", ["Higher"], [])]


def test_it_finds_a_low_site_beyond_one_that_tells_nothing() -> None:
    assert found(low("Here", site("Up", low("Higher"), state="untested"))) == [("Higher", [], ["Higher"])]


def test_it_has_no_upper_end_without_a_site_upstream() -> None:
    assert found(low("Here")) == [("Here", [], ["Here"])]


def test_it_keeps_a_branch_open_that_nothing_is_known_of() -> None:
    assert found(low("Here", site("Left"), site("Right", state="untested"))) == [("Here", ["Left"], ["Right"])]


def test_it_takes_an_old_low_visit_for_another_story() -> None:
    assert found(low("Here", low("Up", site("Higher"), days=-200))) == [("Here", ["Higher"], [])]


@pytest.mark.parametrize(("days", "is_old"), [(-45, False), (-46, True), (0, False), (14, False)])
def test_it_calls_a_visit_old_after_one_and_a_half_intervals(days: int, is_old: bool) -> None:
    assert site("Up", days=days).is_old is is_old


@pytest.mark.parametrize(
    ("here", "sentence"),
    [
        (
            low("Here", site("Up")),
            "The cause most likely lies between Up, which was normal when last visited, and Here.",
        ),
        (
            low("Here", site("Left"), site("Right")),
            "The cause most likely lies above Here and below Left and Right, which were normal when last "
            "visited.",
        ),
        (
            low("Here", site("Left"), site("Middle"), site("Right")),
            "The cause most likely lies above Here and below Left, Middle and Right, which were normal when "
            "last visited.",
        ),
        (
            low("Here", site("Left"), site("Right", state="untested")),
            "The cause most likely lies between Left, which was normal when last visited, and Here; or else "
            "above Right, from where nothing normal is known.",
        ),
        (
            low("Here", low("Up", site("Higher"))),
            "Up, further up, was low too. The cause most likely lies between Higher, which was normal when "
            "last visited, and Up.",
        ),
        (
            low("Here"),
            "The cause most likely lies above Here, how far up nobody can say: no site of the group further up "
            "was normal when last visited.",
        ),
    ],
    ids=["one", "confluence", "three streams", "one branch unknown", "further up", "no site upstream"],
)
def test_it_says_so_in_words(here: Neighbour, sentence: str) -> None:
    assert stretch_words(here, find_stretches(here)) == [sentence]


def misled(here: Neighbour) -> str:
    return " ".join(mislead_words(here, find_stretches(here)))


def test_it_says_what_it_rests_on_and_what_could_mislead() -> None:
    words = misled(low("Here", site("Up")))
    assert "rests on the latest visit" in words
    assert "at Here itself or if the low count came by chance" in words
    assert "passed Up on a day when nobody was there" in words
    assert "old" not in words


def test_it_says_how_old_an_old_visit_is() -> None:
    assert "The visit to Up is old: 60 days before the low one." in misled(low("Here", site("Up", days=-60)))


@pytest.mark.parametrize(("days", "words"), [(1, "1 day after"), (9, "9 days after")])
def test_it_says_that_a_later_visit_may_have_found_clear_water_again(days: int, words: str) -> None:
    assert f"Up was visited {words} the low visit" in misled(low("Here", site("Up", days=days)))


def test_it_speaks_of_no_site_upstream_where_there_is_none() -> None:
    assert "passed" not in misled(low("Here"))


def test_a_stretch_starts_with_nothing_known() -> None:
    lower = low("Here")
    assert Stretch(lower) == Stretch(lower, [], [], [])
