"""Whether somebody can go: days, distance, training, visits in hand."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest

from surveys.rota.volunteers import Obstacle, Place, Volunteer, great_circle_km, month_of

THURSDAY = date(2026, 6, 4)
SITE = Place(uuid4(), 54.5, -2.5)


def somebody(**facts: object) -> Volunteer:
    return Volunteer(uuid4(), "Vera", **{"weekdays": frozenset({3})} | facts)  # type: ignore[arg-type]


def test_a_degree_of_latitude_is_about_111_km() -> None:
    # On a sphere of 6,371 km radius a degree of a great circle is 6371 × π / 180 = 111.19 km.
    assert great_circle_km((54.0, -2.5), (55.0, -2.5)) == pytest.approx(111.195, abs=0.01)
    assert great_circle_km((54.0, -2.5), (54.0, -2.5)) == 0


def test_who_said_nothing_against_it_can() -> None:
    assert somebody().obstacle(SITE, THURSDAY) is None


@pytest.mark.parametrize(
    ("facts", "obstacle"),
    [
        ({"weekdays": frozenset({4})}, Obstacle.CANNOT),
        ({"away": ((THURSDAY, THURSDAY),)}, Obstacle.CANNOT),
        ({"busy": frozenset({THURSDAY})}, Obstacle.BUSY),
        ({"taken": {(2026, 6): 2}}, Obstacle.FULL),
        ({"trained_on": frozenset()}, Obstacle.UNTRAINED),
        ({"home": (54.7, -2.5), "travel_km": 20}, Obstacle.TOO_FAR),
        ({"near_sites": frozenset({uuid4()})}, Obstacle.TOO_FAR),
    ],
)
def test_each_obstacle_is_told(facts: dict[str, object], obstacle: Obstacle) -> None:
    assert somebody(**facts).obstacle(SITE, THURSDAY) == obstacle


@pytest.mark.parametrize(
    "facts",
    [
        {"weekdays": frozenset(), "can": ((THURSDAY - timedelta(days=1), THURSDAY),)},
        {"taken": {(2026, 5): 9}},
        {"trained_on": frozenset({THURSDAY})},
        {"home": (54.7, -2.5), "travel_km": 23},
        {"home": (54.7, -2.5)},
        {"home": (59.0, -2.5), "travel_km": 1, "near_sites": frozenset({SITE.site_id})},
        {"near_sites": frozenset({SITE.site_id})},
    ],
)
def test_what_is_no_obstacle(facts: dict[str, object]) -> None:
    assert somebody(**facts).obstacle(SITE, THURSDAY) is None


def test_away_outweighs_a_day_that_was_named() -> None:
    span = ((THURSDAY, THURSDAY),)
    assert not somebody(can=span, away=span).offers(THURSDAY)


def test_what_is_left_of_a_month_never_falls_below_nought() -> None:
    assert somebody(taken={month_of(THURSDAY): 5}).left_in(month_of(THURSDAY)) == 0
    assert somebody(taken={(2026, 5): 1, (2026, 6): 2}).load == 3
