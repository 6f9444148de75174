"""The volunteer stream rating: kinds of animal by abundance, and its bands."""

import pytest

from scoring.indices.epa import epa_band
from scoring.samples import Count
from tests.scoring.making import exact, score, value


def test_it_counts_kinds_of_animal_not_families() -> None:
    assert value("epa_volunteer", {"Baetidae": 4, "Caenidae": 3}) == 5.0
    assert value("epa_volunteer", {"Baetidae": 4, "Caenidae": 30}) == 5.6


@pytest.mark.parametrize(
    ("number", "weight"), [(1, 5.0), (9, 5.0), (10, 5.6), (99, 5.6), (100, 5.3), (9999, 5.3)]
)
def test_it_weights_by_abundance_and_less_for_very_many(number: int, weight: float) -> None:
    assert value("epa_volunteer", {"stonefly nymph": number}) == weight


@pytest.mark.parametrize(
    ("name", "item"),
    [
        ("Ancylidae", "lunged snail"),
        ("Hydrobiidae", "gilled snail"),
        ("Tubificidae", "aquatic worm"),
        ("Limoniidae", "crane fly larva"),
        ("Lestidae", "damselfly nymph"),
        ("Gomphidae", "dragonfly nymph"),
        ("Gammaridae", "scud"),
        ("Asellidae", "sowbug"),
        ("cased caddis", "caddisfly larva"),
        ("riffle beetle adult", "riffle beetle adult"),
        ("beetle larva", "beetle larva"),
        ("hellgrammite", "hellgrammite (dobsonfly larva)"),
        ("fishfly larva", "fishfly larva"),
    ],
)
def test_it_finds_the_kind_that_a_taxon_belongs_to(name: str, item: str) -> None:
    assert [kind for kind, _ in score("epa_volunteer", Count(name, 3)).parts] == [item]


@pytest.mark.parametrize("name", ["Elmidae", "Coleoptera", "Corydalidae", "snail", "Hydracarina", "Mystery"])
def test_it_leaves_out_what_it_cannot_place_and_says_so(name: str) -> None:
    found = score("epa_volunteer", Count(name, 3))
    assert found.value == 0
    assert found.left_out == (name,)


def test_it_gives_lowest_and_highest_for_a_range_across_a_limit() -> None:
    found = score("epa_volunteer", Count("leech", low=50, high=150))
    assert (found.value, found.low, found.high) == (1.1, 1.0, 1.1)


def test_it_has_no_range_within_the_same_weight() -> None:
    found = score("epa_volunteer", Count("leech", low=100, high=999), Count("stonefly", low=1000))
    assert (found.value, found.low, found.high) == (6.3, None, None)


def test_it_needs_a_number_for_each_kind() -> None:
    found = score("epa_volunteer", Count("stonefly"), Count("leech", 2))
    assert (found.value, found.rating) == (None, "")
    assert "not recorded for: stonefly." in found.why_none
    assert (found.low, found.high) == (6.2, 6.8)


@pytest.mark.parametrize(
    ("figure", "band"), [(0, "poor"), (19.9, "poor"), (20, "fair"), (40, "fair"), (40.1, "good"), (80, "good")]
)
def test_it_has_three_bands(figure: float, band: str) -> None:
    assert epa_band(figure) == band


def test_it_rates_a_tray_without_life_as_poor() -> None:
    found = score("epa_volunteer", *exact({"stonefly": 0, "leech": 0}))
    assert (found.value, found.rating) == (0, "poor")
