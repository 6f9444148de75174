"""Shares of a tray: what was counted in one part stands for the whole, with its limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from scoring.indices import score_sample
from scoring.samples import Amount, Count, amount_of, read_sample
from scoring.subsampling import whole_tray_limits
from tests.scoring.making import score

fractions = st.sampled_from([0.05, 0.1, 0.125, 0.25, 1 / 3, 0.5, 0.75, 0.9])


@pytest.mark.parametrize("fraction", [0, -0.5, 1.01, math.nan])
def test_it_refuses_a_share_that_is_none(fraction: float) -> None:
    with pytest.raises(ValueError, match="fraction sorted"):
        Count("Baetidae", 3, fraction=fraction)
    with pytest.raises(ValueError, match="share of the tray"):
        whole_tray_limits(3, fraction)


def test_it_refuses_a_negative_number_in_a_share() -> None:
    with pytest.raises(ValueError, match="0 or more"):
        whole_tray_limits(-1, 0.5)


def test_it_takes_a_whole_tray_as_counted() -> None:
    assert amount_of(Count("Baetidae", 7, fraction=1)) == Amount(7, 7, 7)
    assert whole_tray_limits(7, 1) == (7, 7)


def test_it_scales_a_share_up_and_says_how_far_that_may_be_off() -> None:
    amount = amount_of(Count("Baetidae", 20, fraction=0.25))
    assert amount.number == 80
    assert amount.fewest < 80 < amount.most
    assert not amount.is_exact


@given(st.integers(0, 5_000), fractions)
def test_it_keeps_the_scaled_number_inside_and_the_seen_animals_below(found: int, fraction: float) -> None:
    low, high = whole_tray_limits(found, fraction)
    assert found <= low <= found / fraction + 1e-6
    assert high + 1e-6 >= found / fraction


@pytest.mark.parametrize(("tray", "fraction"), [(40, 0.25), (100, 0.125), (400, 0.1), (60, 0.5)])
def test_it_holds_the_true_number_in_about_nineteen_of_twenty_trays(tray: int, fraction: float) -> None:
    # Exact chance of each number in the share, from scipy's binomial law.
    held = sum(
        float(binom.pmf(found, tray, fraction))
        for found in range(tray + 1)
        if whole_tray_limits(found, fraction)[0] <= tray <= whole_tray_limits(found, fraction)[1]
    )
    assert held == pytest.approx(0.95, abs=0.025)


def test_it_never_multiplies_what_was_picked_out_of_the_whole_tray() -> None:
    sample = read_sample([Count("Perlidae", 1), Count("Baetidae", 10, fraction=0.125)])
    assert sample["Perlidae"] == Amount(1, 1, 1)
    assert sample["Baetidae"].number == 80


def test_it_adds_whole_tray_finds_to_the_scaled_share_of_one_taxon() -> None:
    sample = read_sample([Count("Perlidae", 2), Count("Perlidae", 1, fraction=0.125)])
    assert sample["Perlidae"].number == 2 + 8


def test_it_scales_ranges_and_leaves_open_what_is_open() -> None:
    closed = amount_of(Count("Baetidae", low=10, high=99, fraction=0.5))
    assert closed.number == pytest.approx(66)
    assert closed.fewest >= 10
    assert closed.most > 2 * 99
    assert amount_of(Count("Baetidae", low=1000, fraction=0.5)).most == math.inf
    assert amount_of(Count("Baetidae", fraction=0.5)) == Amount(1, None, math.inf)


def test_it_finds_nothing_in_a_share_that_held_nothing() -> None:
    assert read_sample([Count("Baetidae", 0, fraction=0.25)]) == {}


def test_it_leaves_presence_scores_alone_and_shows_the_spread_of_the_others() -> None:
    whole, share = Count("Baetidae", 80), Count("Baetidae", 20, fraction=0.25)
    others = [Count("Chironomidae", 100), Count("Perlidae", 3)]
    for index in ("bmwp", "ntaxa", "ept_families", "richness"):
        assert score(index, share, *others).value == score(index, whole, *others).value
        assert score(index, share, *others).low is None
    percent = score("ept_percent", share, *others)
    assert percent.value == score("ept_percent", whole, *others).value
    assert percent.low is not None
    assert percent.high is not None
    assert percent.low < (percent.value or 0) < percent.high


def test_it_may_leave_open_which_range_a_share_stands_for() -> None:
    # 3 of a quarter tray may be fewer or more than 10 in the whole, so the WHPT value has two candidates.
    found = score_sample([Count("Oligochaeta", 3, fraction=0.25)])["whpt"]
    assert (found.low, found.value, found.high) == (2.3, 2.3, 3.6)
