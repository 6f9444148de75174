"""Whether the effort was the standard one. Plan and tolerance: common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest

from surveys.models import Site
from surveys.submission import Submission
from surveys.visits.effort import EFFORT_PROBLEMS, effort_problems
from tests.conftest import Cast
from tests.factories import submission_for, submit


def visited(site: Site, *spots: tuple[int, str]) -> Submission:
    """A submission with one (kicks, seconds) pair for each spot."""
    rows = [
        {"number": number, "kicks": kicks, "seconds": seconds}
        for number, (kicks, seconds) in enumerate(spots, start=1)
    ]
    return submission_for(site, spots=rows)


STANDARD = (3, "30")


def test_it_finds_nothing_in_the_standard_effort(cast: Cast) -> None:
    assert effort_problems(visited(cast.site, STANDARD, STANDARD, STANDARD), cast.site) == []


# 27 s is 9 s a kick and 81 s in all; 33 s is 11 s a kick and 99 s in all.
@pytest.mark.parametrize("seconds", ["27", "33"])
def test_it_allows_ten_percent_either_way(cast: Cast, seconds: str) -> None:
    assert effort_problems(visited(cast.site, *[(3, seconds)] * 3), cast.site) == []


@pytest.mark.parametrize("seconds", ["26.9", "33.1"])
def test_it_says_so_just_beyond_the_tolerance(cast: Cast, seconds: str) -> None:
    problems = effort_problems(visited(cast.site, *[(3, seconds)] * 3), cast.site)
    assert problems == ["kick_time", "visit_time"]


def test_it_finds_kicks_counted_a_fifth_too_fast(cast: Cast) -> None:
    """Counting 20 % fast gives 72 s instead of 90 s: a false decline."""
    assert effort_problems(visited(cast.site, *[(3, "24")] * 3), cast.site) == ["kick_time", "visit_time"]


def test_it_finds_one_short_spot_within_a_good_total(cast: Cast) -> None:
    problems = effort_problems(visited(cast.site, (3, "26"), (3, "33"), (3, "31")), cast.site)
    assert problems == ["kick_time"]


@pytest.mark.parametrize(
    ("spots", "codes"),
    [
        ([STANDARD] * 2, ["spots_missing", "visit_time"]),
        ([STANDARD] * 4, ["spots_added", "visit_time"]),
        ([STANDARD, STANDARD, (2, "20")], ["kicks_missing", "visit_time"]),
        ([STANDARD, STANDARD, (2, "27")], ["kicks_missing", "kick_time"]),
        ([STANDARD, STANDARD, (4, "40")], ["kicks_added", "visit_time"]),
    ],
)
def test_it_finds_missing_and_added_work(cast: Cast, spots: list[tuple[int, str]], codes: list[str]) -> None:
    assert effort_problems(visited(cast.site, *spots), cast.site) == codes


def test_it_goes_by_the_sites_own_plan(cast: Cast) -> None:
    cast.site.spots, cast.site.kicks_per_spot, cast.site.seconds_per_kick = 1, 1, 180
    assert effort_problems(visited(cast.site, (1, "180")), cast.site) == []
    assert effort_problems(visited(cast.site, (1, "150")), cast.site) == ["kick_time", "visit_time"]


def test_it_says_when_no_effort_was_recorded(cast: Cast) -> None:
    assert effort_problems(visited(cast.site), cast.site) == ["no_effort_recorded"]


def test_it_asks_nothing_of_a_visit_not_made(cast: Cast) -> None:
    not_made: dict[str, Any] = {"was_made": False, "not_made_reason": "dry", "spots": [], "counts": []}
    assert effort_problems(submission_for(cast.site, **not_made), cast.site) == []


def test_it_says_the_same_of_the_saved_visit(cast: Cast) -> None:
    rows = [{"number": 1, "kicks": 2, "seconds": "30"}]
    visit = submit(cast.person("volunteer"), cast.site, spots=rows)
    expected = effort_problems(submission_for(cast.site, spots=rows), cast.site)
    assert effort_problems(visit, cast.site) == expected
    assert expected == ["spots_missing", "kicks_missing", "kick_time", "visit_time"]


def test_it_has_words_for_every_code() -> None:
    assert all(str(label) for label in EFFORT_PROBLEMS.values())
