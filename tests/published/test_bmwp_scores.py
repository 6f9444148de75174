"""Every row of the BMWP table against a second list, typed by score and not copied from the first.

Biological Monitoring Working Party 1980; Hawkes 1998, Water Research 32(3): 964-968. Typed from memory.
Families in brackets score together with the one before them.
"""

import re

import pytest

from scoring.tables import read_table
from tests.scoring.making import exact, score, value

BY_SCORE = {
    10: """Siphlonuridae Heptageniidae Leptophlebiidae Ephemerellidae Potamanthidae Ephemeridae
        Taeniopterygidae Leuctridae Capniidae Perlodidae Perlidae Chloroperlidae Aphelocheiridae Phryganeidae
        Molannidae Beraeidae Odontoceridae Leptoceridae Goeridae Lepidostomatidae Brachycentridae
        Sericostomatidae""",
    8: """Astacidae Lestidae Agriidae Gomphidae Cordulegasteridae Aeshnidae Corduliidae Libellulidae
        Psychomyiidae(Ecnomidae) Philopotamidae""",
    7: "Caenidae Nemouridae Rhyacophilidae(Glossosomatidae) Polycentropodidae Limnephilidae",
    6: """Neritidae Viviparidae Ancylidae(Acroloxidae) Hydroptilidae Unionidae Corophiidae
        Gammaridae(Crangonyctidae) Platycnemididae Coenagriidae""",
    5: """Mesoveliidae Hydrometridae Gerridae Nepidae Naucoridae Notonectidae Pleidae Corixidae Haliplidae
        Hygrobiidae Dytiscidae(Noteridae) Gyrinidae Hydrophilidae(Hydraenidae) Clambidae Helodidae Dryopidae
        Elminthidae Chrysomelidae Curculionidae Hydropsychidae Tipulidae Simuliidae Planariidae(Dugesiidae)
        Dendrocoelidae""",
    4: "Baetidae Sialidae Piscicolidae",
    3: """Valvatidae Hydrobiidae(Bithyniidae) Lymnaeidae Physidae Planorbidae Sphaeriidae Glossiphoniidae
        Hirudidae Erpobdellidae Asellidae""",
    2: "Chironomidae",
    1: "Oligochaeta",
}
TYPED = [(points, name) for points, names in BY_SCORE.items() for name in re.findall(r"\w+", names)]
SCORING = [(points, re.sub(r"\(.*", "", name)) for points, names in BY_SCORE.items() for name in names.split()]
JOINED = [pair for names in BY_SCORE.values() for pair in re.findall(r"(\w+)\((\w+)\)", names)]


@pytest.mark.parametrize(("points", "name"), TYPED)
def test_it_scores_each_taxon_as_the_second_list_does(points: int, name: str) -> None:
    assert value("bmwp", {name: 1}) == points
    assert value("ntaxa", {name: 1}) == 1


def test_it_has_the_taxa_of_the_second_list_and_no_others() -> None:
    everything = exact({name: 1 for _, name in SCORING})
    assert score("ntaxa", *everything).value == len(SCORING) == len(read_table("bmwp")) == 85
    assert score("bmwp", *everything).value == sum(points for points, _ in SCORING)


@pytest.mark.parametrize(("first", "joined"), JOINED)
def test_it_joins_the_families_that_the_second_list_joins(first: str, joined: str) -> None:
    assert value("ntaxa", {first: 1, joined: 1}) == 1


def test_it_marks_the_three_families_outside_the_later_list_of_82() -> None:
    # Freshwater Biology and Ecology Handbook, p. 146: 82 scoring taxa.
    later = [row["taxon"] for row in read_table("bmwp") if row["in_82_taxon_list"] == "yes"]
    assert len(later) == 82


def test_it_carries_as_many_verified_rows_as_its_sources_say() -> None:
    statuses = [row["status"] for row in read_table("bmwp")]
    assert statuses.count("verified (2 sources)") == 22
    assert statuses.count("from memory") == 5
