"""What holds for every index, whatever the sample."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring.indices import METHODS, score_sample, unmatched
from scoring.samples import ABUNDANCE_RANGES, Count
from scoring.tables import read_table
from scoring.taxa import all_taxa

NAMES = [*(taxon.name for taxon in all_taxa()), "Baetis rhodani", "Gammarus pulex", "Mystery", "worms"]
FAMILIES = [row["taxon"] for row in read_table("bmwp")]

names = st.sampled_from(NAMES)
exact_counts = st.builds(Count, names, st.integers(0, 3000))
range_counts = st.builds(
    lambda name, limits: Count(name, low=limits[0], high=limits[1]), names, st.sampled_from(ABUNDANCE_RANGES)
)
any_counts = st.lists(st.one_of(exact_counts, range_counts, st.builds(Count, names)), max_size=12)
known_counts = st.lists(st.one_of(exact_counts, range_counts), max_size=12)


@given(any_counts, st.randoms())
def test_it_does_not_mind_the_order(counts: list[Count], shuffler: Random) -> None:
    shuffled = [*counts]
    shuffler.shuffle(shuffled)
    assert score_sample(shuffled) == score_sample(counts)


@given(any_counts, st.lists(names, max_size=5))
def test_it_is_not_changed_by_absent_taxa(counts: list[Count], absent: list[str]) -> None:
    assert score_sample([*counts, *(Count(name, 0) for name in absent)]) == score_sample(counts)


@given(any_counts, st.sampled_from(FAMILIES))
def test_it_never_lowers_bmwp_when_a_family_is_added(counts: list[Count], family: str) -> None:
    before, after = score_sample(counts), score_sample([*counts, Count(family, 1)])
    for index in ("bmwp", "ntaxa", "whpt_ntaxa", "ept_families", "richness"):
        assert (after[index].value or 0) >= (before[index].value or 0)


@given(any_counts, any_counts)
def test_it_never_depends_on_another_sample(counts: list[Count], other: list[Count]) -> None:
    alone = score_sample(counts)
    score_sample(other)
    assert score_sample(counts) == alone


@given(any_counts)
def test_it_uses_or_leaves_out_every_recorded_name(counts: list[Count]) -> None:
    present = {count.taxon for count in counts if count.is_present}
    for score in score_sample(counts).values():
        assert set(score.used) | set(score.left_out) == present
        assert not set(score.used) & set(score.left_out)


@given(any_counts)
def test_it_gives_a_value_or_says_why_not(counts: list[Count]) -> None:
    for index, score in score_sample(counts).items():
        assert (score.value is None) == bool(score.why_none), index
        assert score.index == index
        assert score.version == METHODS[index].version


@settings(max_examples=50)
@given(known_counts)
def test_it_keeps_the_value_between_lowest_and_highest(counts: list[Count]) -> None:
    for index, score in score_sample(counts).items():
        if score.low is not None and score.high is not None and score.value is not None:
            assert score.low - 1e-8 <= score.value <= score.high + 1e-8, index


@settings(max_examples=50)
@given(known_counts, st.integers(0, 1_000_000))
def test_it_bounds_every_record_that_a_range_stands_for(counts: list[Count], seed: int) -> None:
    whole, single = score_sample(counts), score_sample([_one_of(count, seed) for count in counts])
    for index in whole:
        low, high, value = whole[index].low, whole[index].high, single[index].value
        if low is not None and high is not None and value is not None:
            assert low - 1e-8 <= value <= high + 1e-8, index


def _one_of(count: Count, seed: int) -> Count:
    if count.low is None:
        return count
    width = (count.high or count.low + 5000) - count.low
    return Count(count.taxon, count.low + (seed * 7919 + len(count.taxon)) % (width + 1))


def test_it_scores_every_method() -> None:
    assert score_sample([]).keys() == METHODS.keys()


def test_it_names_unknown_taxa_once_in_order_of_the_record() -> None:
    counts = [Count("Zebra", 3), Count("Baetis", 2), Count("Gamaridae", 0), Count(" Zebra ", 1)]
    assert unmatched(counts) == ["Zebra", "Gamaridae"]


@pytest.mark.parametrize("name", ["Hydracarina", "Plecoptera", "Psychodidae", "Baetis rhodani", "bloodworm"])
def test_it_matches_known_taxa_though_bmwp_does_not_score_them(name: str) -> None:
    assert unmatched([Count(name, 1)]) == []
