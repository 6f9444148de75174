"""Published worked examples and examples computed by hand (data/worked_examples.json names each source)."""

import json
from pathlib import Path
from typing import Any

import pytest

from scoring.indices import score_sample
from scoring.indices.bounds import weighted_mean
from scoring.indices.fbi import half_up
from scoring.samples import Count, amount_of, range_of
from tests.scoring.making import exact

EXAMPLES = {
    example["id"]: example
    for example in json.loads((Path(__file__).parent / "data/worked_examples.json").read_text(encoding="utf-8"))
}
COUNTED = [example for example in EXAMPLES.values() if example["id"] not in ("S06", "S17", "S19")]

# Key of the example -> our index. Means are printed to four decimals there.
KEYS = {
    "BMWP": "bmwp",
    "NTAXA": "ntaxa",
    "ASPT": "aspt",
    "WHPT_total": "whpt",
    "WHPT_NTAXA": "whpt_ntaxa",
    "WHPT_ASPT": "whpt_aspt",
    "FBI": "fbi",
    "EPT_families": "ept_families",
    "S": "richness",
    "shannon_ln": "shannon",
    "pielou_evenness": "pielou",
    "gini_simpson_1_minus_sum_p2": "simpson",
}


@pytest.mark.parametrize("example", COUNTED, ids=lambda example: example["id"])
def test_it_scores_the_example_as_worked(example: dict[str, Any]) -> None:
    scores = score_sample(exact(example["input"]["counts"]))
    expected = {KEYS[key]: figure for key, figure in example["expected"].items() if key in KEYS}
    assert expected
    for index, figure in expected.items():
        assert scores[index].value == (None if figure is None else pytest.approx(figure, abs=0.0001)), index


@pytest.mark.parametrize("example", COUNTED, ids=lambda example: example["id"])
def test_it_prints_the_example_at_two_decimals_as_worked(example: dict[str, Any]) -> None:
    scores = score_sample(exact(example["input"]["counts"]))
    for key, index in (("ASPT", "aspt"), ("WHPT_ASPT", "whpt_aspt"), ("FBI", "fbi")):
        printed, found = example["expected"].get(f"{key}_2dp_half_up"), scores[index].value
        if printed is not None:
            assert found is not None
            assert float(half_up(found, 2)) == printed


@pytest.mark.parametrize(
    "example", [one for one in COUNTED if "FBI_class" in one["expected"]], ids=lambda one: one["id"]
)
def test_it_classes_the_example_as_worked(example: dict[str, Any]) -> None:
    found = score_sample(exact(example["input"]["counts"]))["fbi"]
    assert found.rating == example["expected"]["FBI_class"]
    used = sum(number for taxon, number in example["input"]["counts"].items() if taxon in found.used)
    assert used == example["expected"]["FBI_individuals_used"]


@pytest.mark.parametrize(
    ("example", "index", "decimals"),
    [("S01", "fbi", 2), ("S02", "shannon", 2), ("S03", "shannon", 2), ("S05", "simpson", 2)],
)
def test_it_agrees_with_the_figure_that_the_source_prints(example: str, index: str, decimals: int) -> None:
    printed = EXAMPLES[example]["expected_published"]
    figure = printed.get("FBI") or printed.get("shannon_ln") or printed["gini_simpson_1_minus_sum_p2"]
    found = score_sample(exact(EXAMPLES[example]["input"]["counts"]))[index].value
    assert found is not None
    assert float(half_up(found, decimals)) == figure


def test_it_shares_animals_not_taxa_in_the_polluted_stream_of_s06() -> None:
    # University of Maryland, MathBench: the page's own 20 % is the share of taxa.
    known = {"striped stonefly": "stonefly nymph", "simuliid blackfly": "blackfly larva"}
    counts = {known.get(name, name): number for name, number in EXAMPLES["S06"]["input"]["counts"].items()}
    scores, expected = score_sample(exact(counts)), EXAMPLES["S06"]["expected"]
    assert scores["richness"].value == expected["richness"]
    assert scores["ept_percent"].value == pytest.approx(expected["percent_EPT_individuals"], abs=0.005)


def test_it_rates_the_volunteer_sample_of_s17() -> None:
    # U.S. EPA 1997, EPA 841-B-97-003, section 4.2; weights and bands from memory.
    groups = EXAMPLES["S17"]["input"]["groups"]
    found = score_sample([Count(name, number) for group in groups.values() for name, number in group.items()])
    assert found["epa_volunteer"].value == EXAMPLES["S17"]["expected"]["score"]
    assert found["epa_volunteer"].rating == EXAMPLES["S17"]["expected"]["rating"]
    for name, group in groups.items():
        alone = score_sample(exact(group))["epa_volunteer"]
        assert alone.value == pytest.approx(EXAMPLES["S17"]["expected"][f"index_group_{name}"])


def test_it_puts_the_counts_of_s19_into_their_ranges() -> None:
    limits = [range_of(number) for number in EXAMPLES["S19"]["input"]["counts"]]
    written = [f"{low}+" if high is None else f"{low}-{high}" for low, high in limits]
    assert written == EXAMPLES["S19"]["expected"]["ranges"]


def test_it_weighs_a_mean_as_the_handbook_does() -> None:
    # Freshwater Biology and Ecology Handbook, p. 161, Table 3.5: chances of five kinds of site, their ASPT;
    # 1.89 + 1.64 + 2.4 + 0.432 + 0.106, printed 6.47. Animals in a hundred stand for chances here.
    means = {"A": 6.3, "B": 8.2, "C": 6.0, "D": 5.4, "E": 5.3}
    chances = {"A": 30, "B": 20, "C": 40, "D": 8, "E": 2}
    amounts = {name: amount_of(Count(name, number)) for name, number in chances.items()}
    assert weighted_mean(means, amounts) == pytest.approx(6.468)


def test_it_says_that_the_empty_sample_of_s14_is_undefined_not_zero() -> None:
    scores = score_sample(exact(EXAMPLES["S14"]["input"]["counts"]))
    for index in ("aspt", "whpt_aspt", "fbi", "shannon", "simpson"):
        assert scores[index].value is None
        assert scores[index].why_none
