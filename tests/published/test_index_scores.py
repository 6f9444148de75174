"""Rows of the WHPT, Hilsenhoff and EPA tables, scored one by one; sources in data/SOURCE.md."""

import csv
from pathlib import Path

import pytest

from scoring.indices.epa import epa_band
from scoring.indices.fbi import fbi_class
from scoring.samples import range_of, stand_in
from scoring.tables import read_table
from tests.scoring.making import value

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("whpt_values.csv"), ids=lambda row: row["taxon"])
def test_it_gives_each_whpt_taxon_its_four_values(row: dict[str, str]) -> None:
    # WFD-UKTAG 2014, WHPT metric; values from memory.
    for number in (1, 10, 100, 1000):
        assert value("whpt", {row["taxon"]: number}) == float(row[f"from_{number}"])


def test_it_has_the_106_taxa_of_whpt() -> None:
    # Freshwater Biology and Ecology Handbook, p. 146.
    assert len(rows("whpt_values.csv")) == len(read_table("whpt")) == 106


def test_it_holds_no_presence_only_value_of_whpt() -> None:
    assert {row["present_only"] for row in read_table("whpt")} == {""}


@pytest.mark.parametrize("row", rows("fbi_values.csv"), ids=lambda row: row["taxon"])
def test_it_gives_each_family_its_tolerance(row: dict[str, str]) -> None:
    # Hilsenhoff 1988, J. N. Am. Benthol. Soc. 7(1): 65-68, compared with EPA 841-B-99-002, Appendix B.
    assert value("fbi", {row["taxon"]: 7}) == float(row["tolerance"])


def test_it_has_as_many_tolerances_as_the_list() -> None:
    assert len(rows("fbi_values.csv")) == len(read_table("fbi")) == 70


@pytest.mark.parametrize(
    ("lower", "upper", "name"),
    [
        (0.00, 3.75, "excellent"),
        (3.76, 4.25, "very good"),
        (4.26, 5.00, "good"),
        (5.01, 5.75, "fair"),
        (5.76, 6.50, "fairly poor"),
        (6.51, 7.25, "poor"),
        (7.26, 10.00, "very poor"),
    ],
)
def test_it_classes_both_limits_of_each_hilsenhoff_class(lower: float, upper: float, name: str) -> None:
    # Hilsenhoff 1988 as quoted in a textbook's Table 35.3; the last row from memory.
    assert (fbi_class(lower), fbi_class(upper)) == (name, name)


@pytest.mark.parametrize(
    ("name", "degree"),
    [
        ("excellent", "organic pollution unlikely"),
        ("very good", "slight organic pollution possible"),
        ("good", "some organic pollution probable"),
        ("fair", "fairly substantial pollution likely"),
        ("fairly poor", "substantial pollution likely"),
        ("poor", "very substantial pollution likely"),
        ("very poor", "severe organic pollution likely"),
    ],
)
def test_it_says_of_each_hilsenhoff_class_what_it_means(name: str, degree: str) -> None:
    # Hilsenhoff 1988; wording from memory.
    assert [row["degree"] for row in read_table("fbi_classes") if row["class"] == name] == [degree]


@pytest.mark.parametrize(
    ("score", "band"), [(40.1, "good"), (40, "fair"), (20, "fair"), (19.9, "poor"), (0, "poor")]
)
def test_it_rates_both_sides_of_each_band_of_the_volunteer_manual(score: float, band: str) -> None:
    # U.S. EPA 1997, EPA 841-B-97-003, section 4.2, from memory, high confidence: above 40, 20 to 40, below.
    assert epa_band(score) == band


# U.S. EPA 1997, EPA 841-B-97-003, section 4.2, all from memory:
# groups with medium, weights with high confidence.
WEIGHTS = {"sensitive": (5.0, 5.6, 5.3), "somewhat": (3.2, 3.4, 3.0), "tolerant": (1.2, 1.1, 1.0)}
KINDS = {
    "sensitive": """caddisfly larva,hellgrammite (dobsonfly larva),mayfly nymph,gilled snail,
        riffle beetle adult,stonefly nymph,water penny larva""",
    "somewhat": """beetle larva,clam,crane fly larva,crayfish,damselfly nymph,dragonfly nymph,scud,sowbug,
        fishfly larva,alderfly larva,watersnipe fly larva""",
    "tolerant": "aquatic worm,blackfly larva,leech,midge larva,lunged snail",
}


@pytest.mark.parametrize(
    ("group", "kind"), [(group, kind.strip()) for group, kinds in KINDS.items() for kind in kinds.split(",")]
)
def test_it_weights_each_kind_of_the_volunteer_manual(group: str, kind: str) -> None:
    assert tuple(value("epa_volunteer", {kind: number}) for number in (1, 10, 100)) == WEIGHTS[group]


def test_it_has_every_kind_of_the_volunteer_manual() -> None:
    typed = {kind.strip() for kinds in KINDS.values() for kind in kinds.split(",")}
    assert typed == {row["item"] for row in read_table("epa_taxa")}


@pytest.mark.parametrize(
    ("low", "high", "number"), [(1, 9, 3), (10, 99, 33), (100, 999, 333), (1000, None, 3333)]
)
def test_it_takes_the_published_number_for_each_range(low: int, high: int | None, number: int) -> None:
    # Environment Agency biological indices, Appendix 2; numbers from memory.
    assert stand_in(low, high) == number


@pytest.mark.parametrize(
    ("lowest", "highest"), [(1, 9), (10, 99), (100, 999), (1000, 9999), (10_000, 1_000_000)]
)
def test_it_puts_the_limits_of_each_published_class_into_one_range(lowest: int, highest: int) -> None:
    # Environment Agency biological indices, Appendix 2, which parts 1,000 and more at 10,000; one range here.
    assert range_of(lowest) == range_of(highest)
    assert range_of(lowest)[0] == min(lowest, 1000)
