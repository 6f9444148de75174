"""Measures of agreement against figures worked by hand from the published formulas, and their thresholds."""

import numpy as np
import pytest
from scipy.spatial.distance import braycurtis

from scoring.agreement import (
    THRESHOLDS,
    enumeration_difference,
    percent_similarity,
    relative_percent_difference,
    sorting_efficiency,
    taxonomic_disagreement,
)

FIRST, SECOND = {"A": 10.0, "B": 20.0, "C": 70.0}, {"A": 20.0, "B": 20.0, "C": 60.0}


def test_it_gives_the_similarity_worked_by_hand() -> None:
    assert percent_similarity(FIRST, SECOND) == pytest.approx(90)


def test_it_gives_the_relative_percent_difference_worked_by_hand() -> None:
    assert relative_percent_difference(18, 22) == pytest.approx(20)


def test_it_gives_the_enumeration_difference_worked_by_hand() -> None:
    # Stribling et al. 2003: 100 |n1 - n2| / (n1 + n2).
    assert enumeration_difference(190, 210) == pytest.approx(5)


def test_it_gives_the_disagreement_worked_by_hand() -> None:
    # Stribling et al. 2003: 90 of 100 animals named alike.
    assert taxonomic_disagreement(FIRST, SECOND) == pytest.approx(10)


@pytest.mark.parametrize("seed", range(10))
def test_it_is_the_complement_of_bray_and_curtis_on_shares(seed: int) -> None:
    # An independent implementation: scipy's dissimilarity of Bray and Curtis 1957 between shares.
    one, other = np.random.default_rng(seed).integers(1, 200, (2, 8)).astype(float)
    found = percent_similarity(
        {str(at): float(number) for at, number in enumerate(one)},
        {str(at): float(number) for at, number in enumerate(other)},
    )
    assert found == pytest.approx(100 * (1 - braycurtis(one / one.sum(), other / other.sum())))


@pytest.mark.parametrize(
    ("measure", "good", "bad"),
    [
        # Common practice, no source.
        ("percent_similarity", 70, 69.9),
        # Stribling et al. 2003, from memory.
        ("taxonomic_disagreement", 15, 15.1),
        ("enumeration_difference", 5, 5.1),
        # U.S. EPA 1999, EPA 841-B-99-002, from memory: nine of ten animals found at the first sorting.
        ("sorting_efficiency", sorting_efficiency(90, 10), sorting_efficiency(899, 101)),
        # Stribling et al. 2008, JNABS 27: 58-67: 15 to 20 % for index duplicates.
        ("relative_percent_difference", 20, 20.1),
    ],
)
def test_it_holds_each_measure_against_its_published_threshold(measure: str, good: float, bad: float) -> None:
    assert THRESHOLDS[measure].accepts(good)
    assert not THRESHOLDS[measure].accepts(bad)
