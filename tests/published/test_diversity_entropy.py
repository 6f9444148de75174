"""Diversity indices against scipy's entropy, and Simpson against exact fractions.

A library of ecology is asked in test_diversity_against_skbio.py.
"""

from fractions import Fraction

import numpy as np
import pytest
from scipy.special import rel_entr
from scipy.stats import entropy

from tests.scoring.making import value

SEEDS = range(20)


def draw(seed: int) -> dict[str, int]:
    rng = np.random.default_rng(seed)
    taxa = int(rng.integers(2, 30))
    return {f"Taxon {at}": int(number) for at, number in enumerate(np.ceil(rng.lognormal(2, 1.8, taxa)))}


@pytest.mark.parametrize("seed", SEEDS)
def test_it_gives_shannon_as_the_entropy_in_nats(seed: int) -> None:
    counts = draw(seed)
    assert value("shannon", counts) == pytest.approx(float(entropy(list(counts.values()))), abs=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_gives_evenness_as_entropy_over_its_highest_value(seed: int) -> None:
    counts = draw(seed)
    highest = float(entropy(np.ones(len(counts))))
    assert value("pielou", counts) == pytest.approx(float(entropy(list(counts.values()))) / highest, abs=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_gives_simpson_as_the_chance_that_two_draws_differ(seed: int) -> None:
    counts = draw(seed)
    total = sum(counts.values())
    alike = sum(Fraction(number, total) ** 2 for number in counts.values())
    assert value("simpson", counts) == pytest.approx(float(1 - alike), abs=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_it_falls_short_of_even_by_the_divergence_from_even(seed: int) -> None:
    counts = draw(seed)
    shares = np.array(list(counts.values())) / sum(counts.values())
    divergence = float(rel_entr(shares, np.full(len(shares), 1 / len(shares))).sum())
    shannon = value("shannon", counts)
    assert shannon is not None
    assert np.log(len(counts)) - shannon == pytest.approx(divergence, abs=1e-8)
