"""BMWP, its number of taxa and its mean."""

import pytest

from scoring.samples import Count
from scoring.tables import read_table, split_names
from tests.scoring.making import exact, score, value

# (joined family, scoring taxon), every one of the table.
JOINED = [(name, row["taxon"]) for row in read_table("bmwp") for name in split_names(row["includes"])]


def test_it_adds_the_scores_of_the_families_present() -> None:
    counts = {"Heptageniidae": 3, "Baetidae": 20, "Chironomidae": 5}
    assert value("bmwp", counts) == 16
    assert value("ntaxa", counts) == 3
    assert value("aspt", counts) == pytest.approx(16 / 3)


@pytest.mark.parametrize(("joined", "scoring"), JOINED)
def test_it_scores_joined_families_once(joined: str, scoring: str) -> None:
    both = score("bmwp", Count(joined, 2), Count(scoring, 3))
    assert both.value == value("bmwp", {scoring: 1})
    assert [taxon for taxon, _ in both.parts] == [scoring]
    assert both.used == tuple(sorted((joined, scoring)))


@pytest.mark.parametrize(("joined", "scoring"), JOINED)
def test_it_scores_a_joined_family_where_the_naming_one_is_absent(joined: str, scoring: str) -> None:
    assert score("bmwp", Count(joined, 2), Count(scoring, 0)).value == value("bmwp", {scoring: 1})


def test_it_scores_two_species_of_a_family_once() -> None:
    assert value("bmwp", {"Baetis rhodani": 8, "Baetis sp": 3, "Centroptilum": 1}) == 4


@pytest.mark.parametrize("worm", ["Tubificidae", "Naididae", "Lumbriculus variegatus", "freshwater worms"])
def test_it_scores_worms_as_one_class(worm: str) -> None:
    assert value("bmwp", {worm: 5, "Oligochaeta": 3}) == 1


def test_it_scores_midges_told_apart_as_one_family() -> None:
    assert value("bmwp", {"Chironomini": 5, "Orthocladiinae": 3, "bloodworm": 4}) == 2


def test_it_scores_presence_whatever_the_number() -> None:
    lines = (
        Count("Baetidae", 1),
        Count("Baetidae", 5000),
        Count("Baetidae", low=10, high=99),
        Count("Baetidae"),
    )
    assert [score("bmwp", line).value for line in lines] == [4, 4, 4, 4]
    assert all(score("bmwp", line).low is None for line in lines)


def test_it_never_scores_a_taxon_looked_for_and_absent() -> None:
    assert value("bmwp", {"Perlidae": 0, "Baetidae": 3}) == 4


def test_it_names_what_it_left_out() -> None:
    found = score(
        "bmwp", *exact({"Baetidae": 3, "Hydracarina": 4, "Plecoptera": 2, "Mystery": 1, "Perlidae": 0})
    )
    assert found.used == ("Baetidae",)
    assert found.left_out == ("Hydracarina", "Mystery", "Plecoptera")


def test_it_has_a_total_but_no_mean_without_a_scoring_taxon() -> None:
    counts = exact({"Hydracarina": 4})
    assert score("bmwp", *counts).value == 0
    assert score("ntaxa", *counts).value == 0
    mean = score("aspt", *counts)
    assert mean.value is None
    assert "No scoring taxon" in mean.why_none


def test_it_tells_what_each_taxon_gave() -> None:
    assert score("bmwp", *exact({"Perla": 1, "Baetis": 2})).parts == (("Baetidae", 4), ("Perlidae", 10))
