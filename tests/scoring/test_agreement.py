"""Two counts of one site and day."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.agreement import (
    THRESHOLDS,
    Numbers,
    Threshold,
    compare_counts,
    enumeration_difference,
    percent_similarity,
    relative_percent_difference,
    sorting_efficiency,
    summarise,
    taxonomic_disagreement,
)
from scoring.samples import Count
from scoring.tables import read_table
from tests.scoring.making import exact

Measure = Callable[[Numbers, Numbers], float]

counts = st.dictionaries(st.sampled_from("ABCDEFGH"), st.integers(1, 500).map(float), min_size=1)


@given(counts)
def test_it_finds_a_count_wholly_like_itself(one: dict[str, float]) -> None:
    assert percent_similarity(one, one) == pytest.approx(100)
    assert taxonomic_disagreement(one, one) == pytest.approx(0)


@given(counts, counts)
def test_it_does_not_matter_who_counted_first(one: dict[str, float], other: dict[str, float]) -> None:
    assert percent_similarity(one, other) == pytest.approx(percent_similarity(other, one))
    assert taxonomic_disagreement(one, other) == pytest.approx(taxonomic_disagreement(other, one))
    assert 0 <= percent_similarity(one, other) <= 100 + 1e-9
    assert -1e-9 <= taxonomic_disagreement(one, other) <= 100


@given(counts, counts)
def test_it_is_half_the_differences_of_shares_short_of_all(
    one: dict[str, float], other: dict[str, float]
) -> None:
    names = one.keys() | other.keys()
    gaps = sum(
        abs(one.get(name, 0) / sum(one.values()) - other.get(name, 0) / sum(other.values())) for name in names
    )
    assert percent_similarity(one, other) == pytest.approx(100 - 50 * gaps)


def test_it_finds_no_similarity_without_a_shared_taxon() -> None:
    assert percent_similarity({"A": 3}, {"B": 3}) == 0
    assert taxonomic_disagreement({"A": 3}, {"B": 3}) == 100


def test_it_counts_animals_that_only_one_person_saw_as_disagreement() -> None:
    assert taxonomic_disagreement({"A": 80}, {"A": 100}) == pytest.approx(20)


@pytest.mark.parametrize("measure", [percent_similarity, taxonomic_disagreement])
def test_it_compares_no_empty_count(measure: Measure) -> None:
    with pytest.raises(ValueError, match="at least one animal"):
        measure({}, {"A": 3})


def test_it_has_no_relative_difference_about_zero() -> None:
    assert relative_percent_difference(0, 0) is None
    assert relative_percent_difference(-5, 3) is None
    assert relative_percent_difference(0, 4) == 200


def test_it_has_no_enumeration_difference_of_nothing() -> None:
    with pytest.raises(ValueError, match="above 0"):
        enumeration_difference(0, 0)
    with pytest.raises(ValueError, match="above 0"):
        enumeration_difference(-1, 4)


def test_it_gives_the_share_found_at_the_first_sorting() -> None:
    assert sorting_efficiency(90, 10) == 90
    with pytest.raises(ValueError, match="above 0"):
        sorting_efficiency(0, 0)
    with pytest.raises(ValueError, match="above 0"):
        sorting_efficiency(-1, 4)


def test_it_takes_names_of_one_taxon_together() -> None:
    found = compare_counts(exact({"Baetidae": 40, "mayfly": 3}), exact({"baetidae": 40, "Ephemeroptera": 3}))
    assert found.measures["percent_similarity"] == pytest.approx(100)
    assert found.failed == ()


def test_it_gives_the_difference_of_every_score_that_both_have() -> None:
    found = compare_counts(exact({"Baetidae": 9, "Perlidae": 1}), exact({"Baetidae": 9}))
    bmwp = found.scores["bmwp"]
    assert (bmwp.first, bmwp.second, bmwp.difference) == (14, 4, -10)
    assert bmwp.percent == pytest.approx(100 * 10 / 9)
    # One taxon has no evenness.
    assert "pielou" not in found.scores


def test_it_names_the_measures_that_miss_their_threshold() -> None:
    found = compare_counts(exact({"Baetidae": 90, "Perlidae": 10}), exact({"Baetidae": 30, "Caenidae": 60}))
    assert found.failed == ("percent_similarity", "taxonomic_disagreement", "enumeration_difference")


def test_it_marks_what_rests_on_ranges_or_shares() -> None:
    sure = exact({"Baetidae": 33})
    assert not compare_counts(sure, sure).is_estimate
    assert compare_counts(sure, [Count("Baetidae", low=10, high=99)]).is_estimate
    assert compare_counts([Count("Baetidae", 11, fraction=1 / 3)], sure).is_estimate


def test_it_says_that_numbers_are_missing_and_compares_the_other_scores() -> None:
    found = compare_counts([Count("Baetidae")], exact({"Baetidae": 3}))
    assert found.measures == {}
    assert found.why_none == "A number of animals is missing, so the two counts cannot be compared."
    assert found.scores["bmwp"].difference == 0
    assert "whpt" not in found.scores


@pytest.mark.parametrize("second", [[], [Count("Baetidae", 0)]])
def test_it_compares_no_sample_without_animals(second: list[Count]) -> None:
    found = compare_counts(exact({"Baetidae": 3}), second)
    assert (found.measures, found.why_none) == ({}, "No animals were recorded.")


def test_it_reads_the_counts_only_once() -> None:
    found = compare_counts(iter(exact({"Baetidae": 3})), iter(exact({"Baetidae": 3})))
    assert found.measures["percent_similarity"] == 100


def test_it_sums_up_the_pairs_of_a_year() -> None:
    alike = compare_counts(exact({"Baetidae": 50, "Perlidae": 50}), exact({"Baetidae": 50, "Perlidae": 50}))
    apart = compare_counts(exact({"Baetidae": 100}), exact({"Perlidae": 100}))
    unknown = compare_counts([Count("Baetidae")], exact({"Perlidae": 3}))
    year = summarise([alike, apart, unknown])
    assert year.pairs == 3
    assert year.medians["percent_similarity"] == 50
    assert year.accepted == {
        "percent_similarity": 0.5,
        "taxonomic_disagreement": 0.5,
        "enumeration_difference": 1,
    }
    assert year.score_differences["bmwp"] == 6


def test_it_sums_up_a_year_without_pairs() -> None:
    year = summarise([])
    assert (year.pairs, year.medians, year.accepted, year.score_differences) == (0, {}, {}, {})


def test_it_accepts_at_the_limit() -> None:
    least, most = Threshold("a", 70, True, "", ""), Threshold("b", 15, False, "", "")
    assert (least.accepts(70), least.accepts(69.9)) == (True, False)
    assert (most.accepts(15), most.accepts(15.1)) == (True, False)


@pytest.mark.parametrize("row", read_table("agreement"), ids=lambda row: row["measure"])
def test_it_names_source_and_status_of_every_threshold(row: dict[str, str]) -> None:
    threshold = THRESHOLDS[row["measure"]]
    assert threshold.source
    assert threshold.status in ("no source", "from memory", "abstract only")
    assert row["side"] == ("at least" if threshold.at_least else "at most")
