"""What a list can support: an index that it cannot support is not offered, and the reason is told."""

import pytest

from scoring.indices import METHODS
from scoring.recording_lists import supported_indices
from scoring.tables import read_table

FAMILIES = [row["taxon"] for row in read_table("bmwp")]
BANKSIDE = [row["label"] for row in read_table("bankside")]
RATING = [row["item"] for row in read_table("epa_taxa")]
PRESENCE_ENOUGH = {"bmwp", "ntaxa", "aspt", "whpt_ntaxa", "ept_families", "richness"}


def supported(taxa: list[str], *, with_numbers: bool = True) -> set[str]:
    found = supported_indices(taxa, with_numbers=with_numbers)
    return {index for index, reason in found.items() if not reason}


def reason(index: str, taxa: list[str]) -> str:
    return supported_indices(taxa)[index]


def test_it_answers_for_every_index() -> None:
    assert list(supported_indices(FAMILIES)) == list(METHODS)


def test_it_supports_every_index_with_the_list_of_families() -> None:
    assert supported(FAMILIES) == set(METHODS)


def test_it_supports_only_the_bankside_score_with_the_bankside_list() -> None:
    assert supported(BANKSIDE) == {"bankside"}


def test_it_supports_the_rating_with_the_kinds_of_animal_of_its_manual() -> None:
    assert supported(RATING) == {"epa_volunteer", "ept_percent", "bankside"}


def test_it_leaves_out_what_needs_numbers_when_only_presence_is_ticked() -> None:
    assert supported(FAMILIES, with_numbers=False) == PRESENCE_ENOUGH
    told = supported_indices(FAMILIES, with_numbers=False)["shannon"]
    assert told == "Needs numbers of animals, and the list records presence only."


@pytest.mark.parametrize("index", ["bmwp", "whpt", "fbi", "ept_families"])
def test_it_names_the_groups_that_hide_families(index: str) -> None:
    told = reason(index, [*FAMILIES, "Ephemeroptera"])
    assert told == "Needs finer names than: Ephemeroptera."


def test_it_lets_a_wide_group_stand_that_hides_no_scoring_family() -> None:
    # Water mites and hydra have no score in any table.
    assert supported([*FAMILIES, "water mite", "hydra"]) == set(METHODS)


def test_it_lets_riffle_beetles_stand_whose_stages_were_not_told_apart() -> None:
    assert "Elmidae" in FAMILIES
    assert reason("epa_volunteer", FAMILIES) == ""


def test_it_counts_how_many_scoring_taxa_a_short_list_has() -> None:
    told = reason("bmwp", ["Baetidae", "Perlidae", "Chironomidae"])
    assert told == "The list has 3 of the 85 taxa that this index scores, fewer than half."


def test_it_asks_for_half_of_the_scoring_taxa() -> None:
    assert reason("bmwp", FAMILIES[:43]) == ""
    assert "42 of the 85" in reason("bmwp", FAMILIES[:42])


@pytest.mark.parametrize("lacking", BANKSIDE)
def test_it_names_the_group_that_the_bankside_score_lacks(lacking: str) -> None:
    told = reason("bankside", [name for name in BANKSIDE if name != lacking])
    assert told == f"The list lacks: {lacking}."


def test_it_takes_a_wider_name_for_no_bankside_group() -> None:
    told = reason("bankside", [*BANKSIDE[:5], "fly larva"])
    assert told == "The list lacks: non-biting midge larvae."


def test_it_names_the_orders_that_ept_lacks() -> None:
    no_stoneflies = [row["taxon"] for row in read_table("bmwp") if row["order"] != "Plecoptera"]
    assert reason("ept_families", no_stoneflies) == "The list lacks: Plecoptera."
    assert reason("ept_percent", no_stoneflies) == "The list lacks: Plecoptera."


def test_it_gives_no_share_of_all_animals_where_most_are_left_out() -> None:
    assert "share of all animals" in reason("ept_percent", BANKSIDE)


def test_it_gives_no_diversity_of_wide_names_or_of_one_taxon() -> None:
    assert "most names of the list are wider" in reason("shannon", ["mayfly", "stonefly", "Baetidae"])
    assert reason("shannon", ["mayfly", "Perlidae", "Baetidae"]) == ""
    assert reason("richness", ["Baetidae", "baetidae"]) == "Needs at least two taxa on the list."


@pytest.mark.parametrize("taxa", [[], ["Quux"], ["Quux", "Foo bar"]])
def test_it_supports_nothing_without_a_known_taxon(taxa: list[str]) -> None:
    assert set(supported_indices(taxa).values()) == {"The list has no taxon that the tables know."}
