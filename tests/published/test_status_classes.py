"""Status classes of WHPT against the limits of the Directions, and an example worked by hand."""

from itertools import pairwise

import pytest

from scoring.status import Expected, status_of
from scoring.tables import read_table

# The Water Framework Directive (Standards and Classification) Directions (England and Wales) 2015, Schedule 3
# Part 4: lower limits of observed / expected for the mean and the number of taxa, from memory with high
# confidence. Colours: Directive 2000/60/EC, Annex V 1.4.2, as in the French Order of 25 January 2010 (seen).
LIMITS = [
    ("High", 0.97, 0.80, "blue"),
    ("Good", 0.86, 0.68, "green"),
    ("Moderate", 0.72, 0.56, "yellow"),
    ("Poor", 0.59, 0.47, "orange"),
    ("Bad", 0.00, 0.00, "red"),
]
ONE = Expected(1, 1)


@pytest.mark.parametrize(("name", "mean", "taxa", "colour"), LIMITS)
def test_it_holds_each_class_at_its_lower_limits(name: str, mean: float, taxa: float, colour: str) -> None:
    found = status_of(mean, taxa, ONE)
    assert (found.mean_class, found.taxa_class, found.overall) == (name, name, name)
    (row,) = [row for row in read_table("status_limits") if row["class"] == name]
    assert row["colour"] == colour


@pytest.mark.parametrize(("above", "below"), list(pairwise(LIMITS)))
def test_it_gives_the_next_class_just_below_a_limit(
    above: tuple[str, float, float, str], below: tuple[str, float, float, str]
) -> None:
    assert status_of(above[1] - 1e-9, 1, ONE).mean_class == below[0]
    assert status_of(1, above[2] - 1e-9, ONE).taxa_class == below[0]


def test_it_has_the_five_classes_in_their_order() -> None:
    assert [row["class"] for row in read_table("status_limits")] == [name for name, *_ in LIMITS]


def test_it_classes_the_unrounded_ratio_of_a_worked_example() -> None:
    # Computed by hand from the limits above: 5.5 / 6.4 = 0.859375 prints as 0.86 and still is Moderate;
    # 20 / 24 = 0.8333 is High; the worse decides.
    found = status_of(5.5, 20, Expected(6.4, 24))
    assert (found.mean_ratio, found.taxa_ratio) == pytest.approx((0.8594, 0.8333), abs=1e-4)
    assert (found.mean_class, found.taxa_class, found.overall) == ("Moderate", "High", "Moderate")


def test_it_lets_the_worse_of_the_two_decide_whichever_it_is() -> None:
    assert status_of(1, 0.5, ONE).overall == "Poor"
    assert status_of(0.6, 1, ONE).overall == "Poor"


def test_it_calls_a_negative_mean_bad() -> None:
    assert status_of(-0.4, 1, ONE).mean_class == "Bad"


@pytest.mark.parametrize("wrong", [(0, 20), (6, 0), (-1, 20), (float("nan"), 20), (6, float("inf"))])
def test_it_refuses_expected_values_that_are_none(wrong: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        Expected(*wrong)
