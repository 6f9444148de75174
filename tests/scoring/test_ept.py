"""Families of the three orders, and the share of their animals."""

import pytest

from scoring.samples import Count
from tests.scoring.making import exact, score, value


def test_it_counts_families_before_bmwp_joins_them() -> None:
    counts = {"Rhyacophilidae": 3, "Glossosomatidae": 12}
    assert value("ept_families", counts) == 2
    assert value("ntaxa", counts) == 1


def test_it_counts_species_of_one_family_once() -> None:
    assert value("ept_families", {"Baetis rhodani": 3, "Baetis niger": 2, "Cloeon": 4, "Baetidae": 1}) == 1


def test_it_leaves_other_orders_out_and_names_them() -> None:
    found = score("ept_families", *exact({"Gammaridae": 3, "Caenidae": 2}))
    assert found.value == 1
    assert found.left_out == ("Gammaridae",)


def test_it_does_not_count_an_order_as_a_family() -> None:
    found = score("ept_families", *exact({"stonefly nymph": 3, "caseless caddis": 2}))
    assert found.value == 0
    assert found.left_out == ("caseless caddis", "stonefly nymph")


def test_it_counts_presence_of_any_kind_but_not_absence() -> None:
    lines = (Count("Caenidae"), Count("Perlidae", low=1, high=9), Count("Goeridae", 0))
    assert score("ept_families", *lines).value == 2


def test_it_takes_the_share_of_animals_named_to_order_too() -> None:
    assert value("ept_percent", {"mayfly nymph": 3, "Baetis": 2, "leech": 15}) == 25


def test_it_leaves_unknown_names_out_of_the_share_and_says_so() -> None:
    found = score("ept_percent", *exact({"Baetis": 5, "leech": 5, "Mystery": 90}))
    assert found.value == 50
    assert found.left_out == ("Mystery",)


def test_it_gives_lowest_and_highest_share_for_ranges() -> None:
    found = score("ept_percent", Count("Baetidae", low=1, high=9), Count("Asellidae", 9))
    assert found.value == pytest.approx(25)
    assert (found.low, found.high) == (10, 50)


def test_it_gives_no_range_for_a_share_that_ranges_cannot_move() -> None:
    found = score("ept_percent", Count("Baetidae", low=1, high=9), Count("Perlidae", low=1000))
    assert (found.value, found.low, found.high) == (100, None, None)


def test_it_lets_an_open_range_outweigh_everything() -> None:
    found = score("ept_percent", Count("Baetidae", low=1000), Count("Asellidae", 1000))
    assert (found.low, found.high) == (50, 100)


def test_it_gives_no_share_where_a_number_is_unknown() -> None:
    found = score("ept_percent", Count("Baetidae", 3), Count("leech"))
    assert found.value is None
    assert found.why_none == "The number of animals was not recorded for: leech."


def test_it_gives_no_share_of_nothing() -> None:
    assert score("ept_percent").why_none == "No animals were recorded."
    assert "No name was recognised" in score("ept_percent", Count("Mystery", 4)).why_none
