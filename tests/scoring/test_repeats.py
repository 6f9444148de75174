"""What a repeat visit would tell: against the closed form and against drawn sites."""

from __future__ import annotations

import numpy as np
import pytest

from scoring.advice import AdviceError
from scoring.advice.repeats import advise_repeat

USUAL = [40, 42, 44, 46, 48, 50, 52, 54, 56]


def test_it_counts_gaps_as_the_closed_form_does() -> None:
    """Median 48, seen 20: a fall of 28 takes a score below 30 where it was below 58, which all nine were."""
    told = advise_repeat(USUAL, index="bmwp", level=30, seen=20)
    assert (told.visits, told.fall) == (9, 28)
    assert told.shows.value == pytest.approx(9 / 10)
    # None was below 30: the one gap that the level cuts is counted, so that it errs upwards.
    assert told.by_chance.value == pytest.approx(1 / 10)


def test_a_small_fall_shows_again_less_often_than_a_great_one() -> None:
    """Median 48, seen 41: below 45 come those that were below 52, which are six."""
    small = advise_repeat(USUAL, index="bmwp", level=45, seen=41)
    assert small.shows.value == pytest.approx(6 / 10)
    assert small.by_chance.value == pytest.approx((3 + 1) / 10)
    assert advise_repeat(USUAL, index="bmwp", level=45, seen=10).shows.value > small.shows.value


def test_its_intervals_hold_the_figure() -> None:
    told = advise_repeat(USUAL, index="bmwp", level=45, seen=35)
    for each in (told.shows, told.by_chance):
        assert 0 <= each.low <= each.value <= each.high <= 1


def test_a_score_above_the_usual_one_counts_as_no_fall() -> None:
    assert advise_repeat(USUAL, index="bmwp", level=60, seen=58).fall == 0


def test_it_says_nothing_without_a_baseline() -> None:
    with pytest.raises(AdviceError):
        advise_repeat([], index="bmwp", level=30, seen=20)


@pytest.mark.parametrize("visits", [8, 30])
def test_it_errs_on_the_cautious_side_by_no_more_than_a_gap_at_drawn_sites(visits: int) -> None:
    """Many sites of normal scores, each with one repeat of a true fall and one of a healthy day."""
    drawn = np.random.default_rng(20260)
    level, seen, told_shows, told_chance, shown, chance = 38.0, 30.0, 0.0, 0.0, 0, 0
    rounds = 400
    for _each in range(rounds):
        scores = list(drawn.normal(50, 8, visits))
        told = advise_repeat(scores, index="bmwp", level=level, seen=seen)
        told_shows += told.shows.value / rounds
        told_chance += told.by_chance.value / rounds
        shown += int((drawn.normal(50, 8, 50) - told.fall < level).sum())
        chance += int((drawn.normal(50, 8, 50) < level).sum())
    gap = 1 / (visits + 1)
    true_shows, true_chance = shown / (50 * rounds), chance / (50 * rounds)
    assert true_shows - gap - 0.03 < told_shows < true_shows + 0.03
    assert true_chance - 0.01 < told_chance < true_chance + gap + 0.01
