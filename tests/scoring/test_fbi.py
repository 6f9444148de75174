"""Hilsenhoff's family biotic index: who counts, and where its classes end."""

from decimal import Decimal

import pytest

from scoring.indices.fbi import fbi_class, half_up
from scoring.samples import Count
from tests.scoring.making import exact, score, value


def test_it_weights_tolerance_by_animals() -> None:
    assert value("fbi", {"Perlidae": 10, "Asellidae": 30}) == pytest.approx((10 + 240) / 40)


def test_it_leaves_animals_without_a_value_out_of_both_sums() -> None:
    found = score("fbi", *exact({"Perlidae": 10, "Oligochaeta": 500, "Physidae": 20, "Mystery": 3}))
    assert found.value == 1
    assert found.left_out == ("Mystery", "Oligochaeta", "Physidae")


def test_it_tells_blood_red_midges_from_the_rest_only_where_counted_apart() -> None:
    assert value("fbi", {"Chironomidae": 10}) == 6
    assert value("fbi", {"Chironomini": 10}) == 6
    assert value("fbi", {"Chironomidae": 10, "bloodworms": 10}) == 7


@pytest.mark.parametrize(
    ("split", "old"),
    [("Limoniidae", "Tipulidae"), ("Hyalellidae", "Talitridae"), ("Isonychiidae", "Oligoneuriidae")],
)
def test_it_scores_a_family_split_off_since_as_the_old_one(split: str, old: str) -> None:
    assert value("fbi", {split: 4}) == value("fbi", {old: 4})


@pytest.mark.parametrize("counts", [{}, {"Oligochaeta": 30}, {"Perlidae": 0}])
def test_it_is_undefined_without_an_animal_that_has_a_value(counts: dict[str, int]) -> None:
    found = score("fbi", *exact(counts))
    assert (found.value, found.rating) == (None, "")
    assert "nothing to divide by" in found.why_none


def test_it_is_undefined_where_a_number_is_unknown() -> None:
    found = score("fbi", Count("Perlidae"), Count("Baetidae", 3))
    assert found.value is None
    assert found.why_none.endswith("for: Perlidae.")


def test_it_minds_no_missing_number_of_an_animal_without_a_value() -> None:
    assert score("fbi", Count("leech"), Count("Baetidae", 3)).value == 4


def test_it_gives_lowest_and_highest_for_ranges() -> None:
    found = score("fbi", Count("Perlidae", low=1, high=9), Count("Asellidae", 9))
    assert found.value == pytest.approx((3 * 1 + 9 * 8) / 12)
    assert (found.low, found.high) == pytest.approx((4.5, 7.3))


@pytest.mark.parametrize(
    ("figure", "name"),
    [
        (0.0, "excellent"),
        (3.754, "excellent"),
        (3.755, "very good"),
        (4.25, "very good"),
        (4.254999, "very good"),
        (4.255, "good"),
        (5.0, "good"),
        (5.005, "fair"),
        (5.75, "fair"),
        (5.755, "fairly poor"),
        (6.5, "fairly poor"),
        (6.505, "poor"),
        (7.25, "poor"),
        (7.255, "very poor"),
        (10.0, "very poor"),
    ],
)
def test_it_classes_the_value_at_two_decimals_half_up(figure: float, name: str) -> None:
    assert fbi_class(figure) == name


def test_it_rounds_halves_up_as_on_paper() -> None:
    assert half_up(4.255, 2) == Decimal("4.26")
    assert half_up(2.625, 2) == Decimal("2.63")
    assert half_up(0.5, 0) == Decimal("1")


def test_it_carries_its_class_on_the_score() -> None:
    assert score("fbi", Count("Asellidae", 5)).rating == "very poor"
