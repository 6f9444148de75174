"""Richness, Shannon, Simpson and evenness over all taxa as recorded."""

import math

import pytest

from scoring.samples import Count
from tests.scoring.making import exact, score, value

DIVERSITY = ("shannon", "simpson", "pielou")


def test_it_takes_every_recorded_name_as_a_taxon() -> None:
    counts = {"Baetis sp": 5, "Baetis rhodani": 5, "Mystery": 5, "Gone": 0}
    assert value("richness", counts) == 3
    assert value("shannon", counts) == pytest.approx(math.log(3))
    assert value("simpson", counts) == pytest.approx(2 / 3)
    assert value("pielou", counts) == pytest.approx(1)


def test_it_adds_up_lines_of_the_same_name() -> None:
    twice = (Count("Baetis sp", 2), Count("Baetis sp", 3), Count("Caenis", 5))
    assert score("simpson", *twice).value == pytest.approx(0.5)


def test_it_has_no_diversity_for_one_taxon() -> None:
    assert str(value("shannon", {"Baetidae": 9})) == "0.0"
    assert value("simpson", {"Baetidae": 9}) == 0
    assert value("pielou", {"Baetidae": 9}) is None
    assert "two taxa" in score("pielou", Count("Baetidae", 9)).why_none


@pytest.mark.parametrize("index", DIVERSITY)
@pytest.mark.parametrize("counts", [{}, {"Baetidae": 0}])
def test_it_is_undefined_for_an_empty_sample(index: str, counts: dict[str, int]) -> None:
    found = score(index, *exact(counts))
    assert found.value is None
    assert found.why_none == "No animals were recorded."


def test_it_counts_no_taxon_in_an_empty_sample() -> None:
    assert value("richness", {"Baetidae": 0}) == 0


@pytest.mark.parametrize("index", DIVERSITY)
def test_it_is_undefined_where_a_number_is_unknown_and_names_the_taxon(index: str) -> None:
    found = score(index, Count("Baetidae", 3), Count("Caenidae"))
    assert found.value is None
    assert found.why_none.endswith("not recorded for: Caenidae.")
    assert (found.used, found.left_out) == ((), ("Baetidae", "Caenidae"))


def test_it_counts_a_taxon_of_unknown_number_in_the_richness() -> None:
    assert score("richness", Count("Baetidae", 3), Count("Caenidae")).value == 2


@pytest.mark.parametrize("index", DIVERSITY)
def test_it_gives_lowest_and_highest_for_ranges_around_the_value(index: str) -> None:
    found = score(
        index, Count("Baetidae", low=10, high=99), Count("Caenidae", low=1, high=9), Count("Perlidae", 4)
    )
    assert found.low is not None
    assert found.high is not None
    assert found.value is not None
    assert found.low < found.value < found.high


@pytest.mark.parametrize("index", DIVERSITY)
def test_it_gives_no_range_for_exact_counts(index: str) -> None:
    found = score(index, *exact({"Baetidae": 3, "Caenidae": 8}))
    assert (found.low, found.high) == (None, None)


def test_it_goes_down_to_nothing_where_one_taxon_is_open_ended() -> None:
    found = score("simpson", Count("Baetidae", low=1000), Count("Caenidae", 5))
    assert found.low == 0
    assert found.high == pytest.approx(1 - (1000**2 + 5**2) / 1005**2)
