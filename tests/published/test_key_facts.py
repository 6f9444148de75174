"""What the identification key takes for granted of each group, against a table of facts with their sources.

The table stands in data/key_facts.csv; its sources are those of surveys/identification/sources.toml. A row
"read" rests on a text that was read for it, a row "memory" still waits for somebody with the book in hand. A
value with semicolons means that each of its parts is found in the group.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from scoring.taxa import find_taxon
from surveys.identification import Choice, End, Key, Step, Way, load_key

FILE = Path(__file__).parent / "data" / "key_facts.csv"
KEY = load_key()


@dataclass(frozen=True)
class Fact:
    taxon: str
    feature: str
    value: str
    source: str
    status: str

    @property
    def values(self) -> set[str]:
        return {part.strip() for part in self.value.split(";")}


def read_facts() -> list[Fact]:
    return [Fact(**row) for row in csv.DictReader(FILE.read_text().splitlines())]


FACTS = {(fact.taxon, fact.feature): fact for fact in read_facts()}


def shown_on(way: Way) -> Mapping[str, str]:
    """Every feature that the answers of a way take for granted."""
    return {feature: value for turn in way for feature, value in turn.choice.shows.items()}


def fact_for(end: End, feature: str) -> Fact | None:
    """The fact of the taxon itself, or of the nearest group above it that has one."""
    found = [FACTS[name, feature] for name in end.lines if (name, feature) in FACTS]
    return found[0] if found else None


def claims(key: Key) -> Iterator[tuple[End, str, str]]:
    """Each feature that some way to an end takes for granted of it."""
    for end in key.ends.values():
        for way in key.ways_to(end.id) if end.taxon else ():
            yield from ((end, feature, value) for feature, value in shown_on(way).items())


def unfounded(key: Key) -> set[str]:
    """Claims of the key that no fact bears out."""
    wrong = set()
    for end, feature, value in claims(key):
        fact = fact_for(end, feature)
        if fact is None or value not in fact.values:
            wrong.add(f"{end.taxon}: {feature} {value}")
    return wrong


def test_every_feature_the_key_relies_on_is_borne_out_by_the_table() -> None:
    assert unfounded(KEY) == set()


def test_every_fact_of_the_table_is_used_by_the_key() -> None:
    used = {fact for end, feature, _value in claims(KEY) if (fact := fact_for(end, feature))}
    assert set(FACTS.values()) - used == set()


def test_a_claim_against_the_facts_would_be_found() -> None:
    wrong = Choice("Three tails", "plecoptera", shows={"tails": "3"})
    right = Choice("Two tails", "plecoptera", shows={"tails": "2"})
    step = Step("start", "Tails?", (wrong, right), ("hynes1977",))
    key = Key("start", {"start": step}, {"plecoptera": KEY.ends["plecoptera"]}, KEY.sources)
    assert unfounded(key) == {"Plecoptera: tails 3"}


def test_no_way_contradicts_itself() -> None:
    for end in KEY.ends.values():
        for way in KEY.ways_to(end.id):
            said = [pair for turn in way for pair in turn.choice.shows.items()]
            assert len({feature for feature, _value in said}) == len(set(said)), end.id


@pytest.mark.parametrize("fact", FACTS.values(), ids=lambda fact: f"{fact.taxon} {fact.feature}")
def test_each_fact_names_a_known_taxon_and_source(fact: Fact) -> None:
    found = find_taxon(fact.taxon)
    assert found is not None
    assert found.name == fact.taxon
    # Nothing counts as read of which the text was not read.
    assert fact.status == KEY.sources[fact.source].status


def test_each_row_of_the_table_stands_once() -> None:
    assert len(read_facts()) == len(FACTS)


# Said in so many words by the text read for this key (Bouchard 2009, chapter 6; Key to the Orders of Aquatic
# Hexapoda of Michigan, couplets 6 and 7).
@pytest.mark.parametrize(
    ("taxon", "feature", "value"),
    [
        ("Plecoptera", "tails", "2"),
        ("Plecoptera", "claws", "2"),
        ("Plecoptera", "abdominal_gills", "no"),
        ("Ephemeroptera", "abdominal_gills", "yes"),
    ],
)
def test_stoneflies_and_mayflies_part_as_published(taxon: str, feature: str, value: str) -> None:
    families = [end for end in KEY.ends.values() if taxon in end.lines]
    shown = [shown_on(way) for end in families for way in KEY.ways_to(end.id)]
    assert len(families) > 5
    assert {each[feature] for each in shown if feature in each} == {value}


# Tennessen 2019, abstract: Aeshnidae and Gomphidae have a flat labium, the other families a scoop-shaped one.
def test_dragonflies_part_by_the_mask_as_published() -> None:
    masks = {
        end.id: shown_on(way)["mask"]
        for end in KEY.ends.values()
        for way in KEY.ways_to(end.id)
        if "mask" in shown_on(way) and not way[-1].choice.unsure
    }
    assert masks == {
        "aeshnidae": "flat",
        "gomphidae": "flat",
        "cordulegastridae": "spoon",
        "dragonfly_short": "spoon",
    }
