"""WHPT weighted by abundance: ranges, sums of joined families, negative values and missing numbers."""

import pytest

from scoring.indices.whpt import values_possible
from scoring.samples import Amount, Count
from tests.scoring.making import exact, score, value


def test_it_may_fall_when_a_family_is_added() -> None:
    assert value("whpt", {"Baetidae": 5}) == 3.6
    assert value("whpt", {"Baetidae": 5, "Asellidae": 1500}) == 2.0


def test_it_keeps_families_apart_that_bmwp_joins() -> None:
    counts = {"Rhyacophilidae": 3, "Glossosomatidae": 12}
    assert value("whpt_ntaxa", counts) == 2
    assert value("whpt", counts) == pytest.approx(8.1 + 7.6)


def test_it_adds_up_a_family_before_it_looks_up_the_range() -> None:
    assert value("whpt", {"Baetis rhodani": 6, "Baetis niger": 4}) == 5.9
    assert value("whpt", {"Tipulidae": 6, "Limoniidae": 4}) == 6.9


def test_it_can_be_below_zero() -> None:
    found = score("whpt_aspt", *exact({"Asellidae": 1500, "Chironomidae": 640}))
    assert found.value == -1.25
    assert score("whpt", *exact({"Asellidae": 1500})).value == -1.6


def test_it_reads_the_value_of_a_range_exactly() -> None:
    found = score("whpt", Count("Baetidae", low=10, high=99), Count("Oligochaeta", low=1000))
    assert (found.value, found.low, found.high) == (5.3, None, None)


def test_it_gives_lowest_and_highest_for_a_range_across_a_limit() -> None:
    found = score("whpt", Count("Baetidae", low=5, high=150))
    assert (found.value, found.low, found.high) == (5.9, 3.6, 7.2)


def test_it_says_that_presence_alone_has_no_value_here_and_how_far_it_could_go() -> None:
    found = score("whpt_aspt", Count("Baetidae"), Count("Perlidae", 20))
    assert found.value is None
    assert "not recorded for: Baetidae." in found.why_none
    assert "presence-only values" in found.why_none
    assert (found.low, found.high) == (8.3, 10.25)


def test_it_minds_no_missing_number_of_a_taxon_without_a_value() -> None:
    assert score("whpt", Count("Hydracarina"), Count("Baetidae", 3)).value == 3.6


def test_it_has_no_mean_without_a_scoring_taxon() -> None:
    found = score("whpt_aspt", Count("Hydracarina", 3))
    assert found.value is None
    assert "No scoring taxon" in found.why_none
    assert value("whpt", {"Hydracarina": 3}) == 0


def test_it_leaves_ecnomidae_out_and_says_so() -> None:
    assert score("whpt", *exact({"Ecnomidae": 3, "Baetidae": 2})).left_out == ("Ecnomidae",)


def test_it_lists_the_values_of_all_ranges_an_amount_may_be_in() -> None:
    assert values_possible("Simuliidae", Amount(5, 9.5, 99)) == (5.5, 6.1)
    assert values_possible("Simuliidae", Amount(1, None, float("inf"))) == (5.5, 6.1, 5.8, 3.9)


def test_it_tells_what_each_taxon_gave() -> None:
    assert score("whpt", *exact({"Baetis": 12, "leech": 3, "Erpobdella": 2})).parts == (
        ("Baetidae", 5.9),
        ("Erpobdellidae", 3.6),
    )
