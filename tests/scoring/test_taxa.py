"""Names: what somebody wrote finds its taxon, or a suggestion, never a guess."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.tables import read_table
from scoring.taxa import all_taxa, find_taxon, name_key, roll_up, suggest


def found(text: str) -> str | None:
    taxon = find_taxon(text)
    return taxon.name if taxon else None


def rolled(text: str) -> str | None:
    taxon = roll_up(text)
    return taxon.name if taxon else None


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Baetidae", "Baetidae"),
        ("  BAETIDAE ", "Baetidae"),
        ("baetidae indet.", "Baetidae"),
        ("Baetidae sp.", "Baetidae"),
        ("Baetidae spp", "Baetidae"),
        ("Baetidae sp. 2", "Baetidae"),
        ("Baetidae larvae", "Baetidae"),
        ("Agriidae", "Calopterygidae"),
        ("Hirudidae", "Hirudinidae"),
        ("Heteroptera", "Hemiptera"),
        ("freshwater shrimp", "Gammaridae"),
        ("Freshwater  Shrimps", "Gammaridae"),
        ("mayfly nymphs", "Ephemeroptera"),
        ("mayflies", "Ephemeroptera"),
        ("leeches", "Hirudinea"),
        ("water lice", "Asellidae"),
        ("non-biting midge larvae", "Chironomidae"),
        ("bloodworm", "Chironomidae (blood-red)"),
        ("riffle beetle", "Elmidae"),
        ("riffle beetle adults", "Elmidae (adult)"),
        ("Elmidae larva", "Elmidae (larva)"),
        ("beetle larva", "Coleoptera (larva)"),
        ("beetle", "Coleoptera"),
    ],
)
def test_it_finds_a_taxon_by_any_of_its_names(text: str, name: str) -> None:
    assert found(text) == name


@pytest.mark.parametrize(
    "text", ["", "   ", "sp.", "larva", "Baetidaee", "fish", "Baetis", "Baetidae or Caenidae"]
)
def test_it_finds_nothing_rather_than_guess(text: str) -> None:
    assert find_taxon(text) is None


def test_it_finds_every_taxon_by_its_own_latin_and_english_name() -> None:
    for taxon in all_taxa():
        for name in filter(None, (taxon.name, taxon.english, *taxon.synonyms)):
            assert found(name) == taxon.name, name


def test_it_tells_rank_order_and_status_of_a_taxon() -> None:
    taxon = find_taxon("Gammaridae")
    assert taxon is not None
    assert (taxon.rank, taxon.order, taxon.english) == ("family", "Amphipoda", "freshwater shrimp")
    assert "from memory" in taxon.status


@pytest.mark.parametrize(
    ("text", "family"),
    [
        ("Baetis", "Baetidae"),
        ("Baetis sp", "Baetidae"),
        ("Baetis rhodani", "Baetidae"),
        ("baetis  RHODANI", "Baetidae"),
        ("Baetis (Nigrobaetis) niger", "Baetidae"),
        ("Baetis cf. rhodani", "Baetidae"),
        ("Baetis rhodani/vernus", "Baetidae"),
        ("Baetis rhodani (Pictet, 1843)", "Baetidae"),
        ("Ephemera danica Müller, 1764", "Ephemeridae"),
        ("Gammarus pulex nymphs", "Gammaridae"),
        ("Ecdyonorus sp", "Heptageniidae"),
        ("Ephemerella ignata", "Ephemerellidae"),
        ("Serratella ignita", "Ephemerellidae"),
        ("Ancylus fluviatilis", "Ancylidae"),
        ("Tubifex tubifex", "Tubificidae"),
        ("Rheotanytarsus", "Chironomidae"),
        ("Baetidae", "Baetidae"),
        ("mayfly nymph", "Ephemeroptera"),
    ],
)
def test_it_rolls_genus_and_species_up_to_the_family(text: str, family: str) -> None:
    assert rolled(text) == family


@pytest.mark.parametrize(
    "text",
    [
        "Batis rhodani",
        "Baetis or Cloeon",
        "Baetis and others",
        "Baetis / Cloeon",
        "Baetis 12",
        "rhodani",
        "Baetis mayfly",
        "Baetis a b c d e f",
        "(Baetis)x",
        "",
    ],
)
def test_it_rolls_up_nothing_that_may_mean_something_else(text: str) -> None:
    assert roll_up(text) is None


def test_it_lists_the_misspellings_of_the_meaudret_data_as_synonyms_with_a_note() -> None:
    rows = {row["genus"]: row for row in read_table("genera")}
    assert "Ecdyonorus" in rows["Ecdyonurus"]["synonyms"]
    assert "Ephemerella ignata" in rows["Serratella"]["synonyms"]
    assert "Meaudret" in rows["Ecdyonurus"]["note"]
    assert "Meaudret" in rows["Serratella"]["note"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Gamaridae", "Gammaridae"),
        ("Chironimidae", "Chironomidae"),
        ("Heptagenidae", "Heptageniidae"),
        ("Batis rhodani", "Baetis"),
        ("freshwater shimp", "freshwater shrimp"),
        ("stonfly", "stonefly"),
    ],
)
def test_it_suggests_the_closest_names_for_a_typing_error(text: str, expected: str) -> None:
    assert roll_up(text) is None
    assert expected in suggest(text)


def test_it_suggests_nothing_for_a_word_that_is_like_none() -> None:
    assert suggest("zzzzqqqq") == []
    assert suggest("") == []


def test_it_suggests_at_most_five_names_each_once() -> None:
    names = suggest("idae caddis")
    assert len(names) == len(set(names)) <= 5


@given(st.sampled_from([taxon.name for taxon in all_taxa()]), st.integers(0, 200))
def test_it_suggests_only_names_that_it_knows_itself(name: str, at: int) -> None:
    typo = name[: at % len(name)] + name[at % len(name) + 1 :]
    for suggested in suggest(typo):
        assert roll_up(suggested) is not None, suggested


@given(st.text(max_size=40))
def test_it_reads_any_text_without_an_error(text: str) -> None:
    roll_up(text)
    assert name_key(name_key(text)) == name_key(text) or find_taxon(text) is None


def test_it_knows_the_wider_taxa_that_hold_one() -> None:
    midge = find_taxon("Orthocladiinae")
    worm = find_taxon("Tubificidae")
    damselfly = find_taxon("Lestidae")
    assert midge is not None
    assert worm is not None
    assert damselfly is not None
    assert midge.lineage == ("Orthocladiinae", "Chironomidae", "Diptera")
    assert worm.lineage == ("Tubificidae", "Oligochaeta")
    assert damselfly.lineage == ("Lestidae", "Zygoptera", "Odonata")
    assert (midge.family, worm.family) == ("Chironomidae", "Tubificidae")


def test_it_has_no_family_for_an_order() -> None:
    stoneflies = find_taxon("Plecoptera")
    assert stoneflies is not None
    assert stoneflies.family == ""
