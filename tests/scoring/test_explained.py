"""Many samples of exact counts with reasons and names left out: what `score_sample` says of each."""

from collections.abc import Iterator, Sequence
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.explained import Explained, explain_matrix
from scoring.indices import METHODS, Score, score_sample
from scoring.samples import Count
from scoring.sentences import NO_ANIMALS, NO_SCORING_TAXON, NO_VALUE, NOT_RECOGNISED, ONE_TAXON
from scoring.taxa import all_taxa

Rows = list[list[int]]

# Joined families, wider groups, genus and species, English and unknown names; one name in several spellings.
NAMES = (
    *(taxon.name for taxon in all_taxa()),
    *("Baetis", "Baetis rhodani", "baetis  RHODANI", " Baetis rhodani", "mayfly nymph", "leech", "LEECH"),
    *("Nothing of that name", "nothing of  that name"),
)
NUMBERS = (0, 0, 0, 1, 3, 9, 10, 33, 99, 100, 333, 999, 1000, 3333, 250_000)

tables = st.lists(st.sampled_from(NAMES), min_size=1, max_size=25).flatmap(
    lambda taxa: st.tuples(
        st.just(taxa),
        st.lists(
            st.lists(st.sampled_from(NUMBERS), min_size=len(taxa), max_size=len(taxa)), min_size=1, max_size=6
        ),
    )
)


def plain(taxa: Sequence[str], row: Sequence[int]) -> dict[str, Score]:
    return score_sample(Count(taxon, number) for taxon, number in zip(taxa, row, strict=True))


def of_row(explained: dict[str, Explained], row: int) -> Iterator[tuple[str, Explained, float]]:
    for index, told in explained.items():
        yield index, told, float(told.values[row])


def assert_alike(taxa: Sequence[str], rows: Rows) -> None:
    explained = explain_matrix(taxa, np.array(rows))
    assert list(explained) == list(METHODS)
    for at, row in enumerate(rows):
        expected = plain(taxa, row)
        for index, told, value in of_row(explained, at):
            score = expected[index]
            assert value == pytest.approx(score.value if score.value is not None else np.nan, nan_ok=True), (
                index
            )
            assert (score.low, score.high) == (None, None), index
            assert (told.version, told.why_none[at]) == (score.version, score.why_none), index
            assert told.left_out[at] == score.left_out, index


def explained_of(counts: dict[str, int]) -> dict[str, Explained]:
    return explain_matrix(list(counts), np.array([list(counts.values())]))


@given(tables)
def test_it_says_of_each_sample_what_the_plain_function_says(table: tuple[list[str], Rows]) -> None:
    assert_alike(*table)


@given(tables, st.randoms(use_true_random=False))
def test_it_makes_no_difference_in_which_order_taxa_and_samples_stand(
    table: tuple[list[str], Rows], random: Random
) -> None:
    taxa, rows = table
    places = list(range(len(taxa)))
    random.shuffle(places)
    random.shuffle(rows)
    assert_alike([taxa[at] for at in places], [[row[at] for at in places] for row in rows])


@pytest.mark.parametrize("taxon", [taxon.name for taxon in all_taxa()])
def test_it_explains_every_taxon_of_the_tables_alone(taxon: str) -> None:
    assert_alike([taxon], [[12], [0], [1]])


def test_it_explains_samples_of_all_taxa() -> None:
    rng = np.random.default_rng(5)
    taxa = [taxon.name for taxon in all_taxa()]
    assert_alike(taxa, (rng.integers(0, 300, (20, len(taxa))) * (rng.random((20, len(taxa))) < 0.2)).tolist())


@pytest.mark.parametrize(
    ("index", "counts", "why"),
    [
        ("bmwp", {"Baetidae": 0}, ""),
        ("aspt", {"Baetidae": 0}, NO_SCORING_TAXON),
        ("whpt_aspt", {"Nothing known": 4}, NO_SCORING_TAXON),
        ("fbi", {"Oligochaeta": 4}, NO_VALUE),
        ("ept_percent", {"Baetidae": 0}, NO_ANIMALS),
        ("ept_percent", {"Nothing known": 4}, NOT_RECOGNISED),
        ("shannon", {"Baetidae": 0}, NO_ANIMALS),
        ("simpson", {"Baetidae": 0}, NO_ANIMALS),
        ("pielou", {"Baetidae": 0}, NO_ANIMALS),
        ("pielou", {"Baetidae": 3}, ONE_TAXON),
        ("pielou", {"Baetidae": 3, "Perlidae": 1}, ""),
    ],
)
def test_it_says_why_there_is_no_value(index: str, counts: dict[str, int], why: str) -> None:
    told = explained_of(counts)[index]
    assert told.why_none == [why]
    assert bool(np.isnan(told.values[0])) == bool(why)


def test_it_names_what_was_left_out_as_it_was_recorded() -> None:
    told = explained_of({"zz top": 2, "Baetis  rhodani": 3, "Oligochaeta": 5, "Perlidae": 0})
    assert told["bmwp"].left_out == [("zz top",)]
    assert told["fbi"].left_out == [("Oligochaeta", "zz top")]
    assert told["bankside"].left_out == [("zz top",)]
    assert told["shannon"].left_out == [()]


def test_it_leaves_out_a_name_once_in_its_first_spelling() -> None:
    taxa = ["zz top", "ZZ  top", "Baetidae"]
    told = explain_matrix(taxa, np.array([[1, 2, 1], [1, 0, 1], [0, 2, 1], [0, 0, 1]]))
    assert told["bmwp"].left_out == [("ZZ top",), ("zz top",), ("ZZ top",), ()]


def test_it_leaves_the_one_taxon_out_of_evenness() -> None:
    assert explained_of({"Baetidae": 3})["pielou"].left_out == [("Baetidae",)]


def test_it_explains_samples_without_any_taxon_as_empty() -> None:
    assert_alike([], [[], []])


def test_it_gives_nothing_for_no_samples() -> None:
    told = explain_matrix(["Baetidae"], np.zeros((0, 1), int))
    assert {len(each.values) for each in told.values()} == {0}
    assert {len(each.why_none) + len(each.left_out) for each in told.values()} == {0}


def test_it_lets_no_sample_depend_on_another() -> None:
    taxa, rows = ["Baetidae", "Oligochaeta", "zz top"], [[3, 0, 1], [0, 0, 0], [0, 9, 0]]
    together = explain_matrix(taxa, np.array(rows))
    for at, row in enumerate(rows):
        for index, told, value in of_row(explain_matrix(taxa, np.array([row])), 0):
            np.testing.assert_array_equal(value, together[index].values[at], err_msg=index)
            assert told.why_none[0] == together[index].why_none[at]
            assert told.left_out[0] == together[index].left_out[at]


def test_it_refuses_presence_without_a_number() -> None:
    with pytest.raises(ValueError, match="not exact"):
        explain_matrix(["Baetidae"], np.array([[np.nan]]))


@pytest.mark.parametrize("number", [-1.0, np.inf])
def test_it_refuses_what_is_no_number_of_animals(number: float) -> None:
    with pytest.raises(ValueError, match="below 0"):
        explain_matrix(["Baetidae"], np.array([[number]]))


def test_it_refuses_a_blank_name_and_another_shape() -> None:
    with pytest.raises(ValueError, match="blank"):
        explain_matrix([" "], np.array([[1]]))
    with pytest.raises(ValueError, match="shape"):
        explain_matrix(["Baetidae", "Perlidae"], np.array([[1]]))
