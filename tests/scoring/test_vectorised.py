"""Many samples at once: the same values as one by one, whatever the form of the input."""

import tracemalloc
from collections.abc import Sequence
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.indices import METHODS, score_sample
from scoring.samples import Count
from scoring.taxa import all_taxa
from scoring.vectorised import CHUNK_CELLS, Figures, score_lines, score_matrix

# Joined families, groups above and below, a genus, a species, English names, unknown names, one taxon twice.
NAMES = (
    *(taxon.name for taxon in all_taxa()),
    *("Baetis", "Baetis rhodani", "baetis  RHODANI", "mayfly nymph", "leech", "Riffle shrimp of nowhere"),
)
NUMBERS = (0, 0, 1, 3, 9, 10, 33, 99, 100, 333, 999, 1000, 3333, 250_000)

cells = st.sampled_from([*map(float, NUMBERS), np.nan])
tables = st.lists(st.sampled_from(NAMES), min_size=1, max_size=25).flatmap(
    lambda taxa: st.tuples(
        st.just(taxa), st.lists(st.lists(cells, min_size=len(taxa), max_size=len(taxa)), min_size=1, max_size=6)
    )
)


def one_by_one(taxa: Sequence[str], rows: Sequence[Sequence[float]]) -> dict[str, list[float | None]]:
    """The values of the plain function."""
    scores = [score_sample(map(as_count, taxa, row)) for row in rows]
    return {index: [score[index].value for score in scores] for index in METHODS}


def as_count(taxon: str, number: float) -> Count:
    return Count(taxon) if np.isnan(number) else Count(taxon, int(number))


def assert_alike(found: dict[str, Figures], expected: dict[str, list[float | None]]) -> None:
    assert list(found) == list(expected)
    for index, values in expected.items():
        plain = [np.nan if value is None else value for value in values]
        np.testing.assert_allclose(found[index], plain, rtol=1e-9, atol=2e-9, err_msg=index)


@given(tables)
def test_it_scores_a_matrix_as_one_by_one(table: tuple[list[str], list[list[float]]]) -> None:
    taxa, rows = table
    assert_alike(score_matrix(taxa, np.array(rows)), one_by_one(taxa, rows))


@given(tables, st.randoms(use_true_random=False))
def test_it_scores_lines_in_any_order_as_one_by_one(
    table: tuple[list[str], list[list[float]]], random: Random
) -> None:
    taxa, rows = table
    lines = [(at, column, number) for at, row in enumerate(rows) for column, number in enumerate(row) if number]
    random.shuffle(lines)
    sample, taxon, number = (np.array([line[part] for line in lines]) for part in range(3))
    found = score_lines(taxa, sample.astype(int), taxon.astype(int), number.astype(float), samples=len(rows))
    assert_alike(found, one_by_one(taxa, rows))


def test_it_scores_every_taxon_of_the_tables_alone() -> None:
    taxa = [taxon.name for taxon in all_taxa()]
    rows = np.diag(np.full(len(taxa), 12.0))
    assert_alike(score_matrix(taxa, rows), one_by_one(taxa, rows.tolist()))


def test_it_adds_up_lines_of_one_sample_and_taxon() -> None:
    found = score_lines(["Baetidae"], np.array([0, 0]), np.array([0, 0]), np.array([6, 6]), samples=1)
    assert_alike(found, one_by_one(["Baetidae"], [[12]]))


def test_it_scores_samples_without_lines_as_empty() -> None:
    found = score_lines(["Baetidae"], np.array([1]), np.array([0]), np.array([6]), samples=3)
    assert_alike(found, one_by_one(["Baetidae"], [[0], [6], [0]]))
    none = score_lines(["Baetidae"], np.array([], int), np.array([], int), np.array([], int), samples=1)
    assert none["bmwp"].tolist() == [0]


def test_it_scores_samples_without_any_taxon_as_empty() -> None:
    assert_alike(score_matrix([], np.zeros((2, 0))), one_by_one([], [[], []]))


def test_it_gives_no_values_for_no_samples() -> None:
    found = score_matrix(["Baetidae"], np.zeros((0, 1)))
    assert {len(values) for values in found.values()} == {0}


def test_it_makes_no_difference_where_a_chunk_ends() -> None:
    taxa = ["Baetidae", "Perlidae", "Chironomidae"]
    rng = np.random.default_rng(3)
    rows = rng.integers(0, 200, (CHUNK_CELLS // len(taxa) + 50, len(taxa)))
    found, edge = score_matrix(taxa, rows), slice(-60, None)
    alone = score_matrix(taxa, rows[edge])
    for index, values in alone.items():
        np.testing.assert_array_equal(found[index][edge], values, err_msg=index)


def test_it_lets_no_sample_depend_on_another() -> None:
    taxa = ["Baetidae", "Perlidae", "Chironomidae"]
    rows = np.array([[3.0, 0, 40], [np.nan, 1, 0], [0, 0, 0]])
    together = score_matrix(taxa, rows)
    for at, row in enumerate(rows):
        for index, values in score_matrix(taxa, row[None, :]).items():
            np.testing.assert_array_equal(values[0], together[index][at], err_msg=index)


def test_it_leaves_the_counts_as_they_were() -> None:
    counts = np.array([[3.0, np.nan], [0.0, 2.0]])
    before = counts.copy()
    score_matrix(["Baetidae", "Perlidae"], counts)
    np.testing.assert_array_equal(counts, before)


@pytest.mark.parametrize("number", [-1.0, np.inf])
def test_it_refuses_a_number_that_is_no_count(number: float) -> None:
    with pytest.raises(ValueError, match="below 0"):
        score_matrix(["Baetidae"], np.array([[number]]))
    with pytest.raises(ValueError, match="below 0"):
        score_lines(["Baetidae"], np.array([0]), np.array([0]), np.array([number]), samples=1)


def test_it_refuses_a_negative_number_that_a_sum_would_hide() -> None:
    with pytest.raises(ValueError, match="below 0"):
        score_lines(["Baetidae"], np.array([0, 0]), np.array([0, 0]), np.array([9, -2]), samples=1)


def test_it_refuses_counts_of_another_shape() -> None:
    with pytest.raises(ValueError, match=r"\(samples, 2\)"):
        score_matrix(["Baetidae", "Perlidae"], np.zeros((4, 3)))
    with pytest.raises(ValueError, match="shape"):
        score_matrix(["Baetidae"], np.zeros(4))


def test_it_refuses_a_blank_name() -> None:
    with pytest.raises(ValueError, match="blank"):
        score_matrix(["Baetidae", " "], np.zeros((1, 2)))


@pytest.mark.parametrize(("sample", "taxon", "name"), [(2, 0, "sample"), (-1, 0, "sample"), (0, 1, "taxon")])
def test_it_refuses_an_index_out_of_reach(sample: int, taxon: int, name: str) -> None:
    with pytest.raises(ValueError, match=f"a {name} index"):
        score_lines(["Baetidae"], np.array([sample]), np.array([taxon]), np.array([1]), samples=2)


def test_it_refuses_arrays_of_different_lengths() -> None:
    with pytest.raises(ValueError, match="one length"):
        score_lines(["Baetidae"], np.array([0, 0]), np.array([0]), np.array([1]), samples=1)


@pytest.mark.parametrize("samples", [20_000, 80_000])
def test_it_needs_no_more_working_memory_for_more_samples(samples: int) -> None:
    taxa = [taxon.name for taxon in all_taxa() if taxon.rank == "family"][:80]
    counts = np.random.default_rng(1).integers(0, 3, (samples, len(taxa)), dtype=np.int16)
    tracemalloc.start()
    found = score_matrix(taxa, counts)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # A million samples make 120 MB of values; the chunks must not add to the 2 GiB that are allowed.
    assert peak - sum(values.nbytes for values in found.values()) < 30 * 2**20
