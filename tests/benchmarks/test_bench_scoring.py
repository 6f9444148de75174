"""The benchmark itself: its bare pass does the whole work, and it prints all ways. Nothing here is timed."""

import numpy as np

from scoring.indices import METHODS
from scoring.tables import read_table
from scoring.vectorised import score_lines, score_matrix
from tests.benchmarks.bench_scoring import (
    TAXA_PER_SAMPLE,
    Way,
    as_matrix,
    bare_lines,
    bare_matrix,
    make_lines,
    make_weights,
    rates,
    run,
)

TAXA = [row["taxon"] for row in read_table("bmwp")]
SAMPLES = 3_000


def test_it_makes_samples_of_twenty_different_taxa() -> None:
    lines = make_lines(SAMPLES, len(TAXA))
    counts = as_matrix(lines, SAMPLES, len(TAXA))
    assert ((counts > 0).sum(axis=1) == TAXA_PER_SAMPLE).all()
    assert counts.sum() == lines[2].sum()


def test_it_does_in_the_bare_pass_what_the_vectorised_path_does() -> None:
    lines, weights = make_lines(SAMPLES, len(TAXA)), make_weights(TAXA)
    counts = as_matrix(lines, SAMPLES, len(TAXA))
    bare, full = bare_matrix(counts, weights), score_matrix(TAXA, counts)
    assert list(bare) == list(full) == list(METHODS)
    for index in METHODS:
        np.testing.assert_allclose(bare[index], full[index], rtol=1e-9, atol=1e-8, err_msg=index)


def test_it_gives_lines_and_matrix_the_same_values() -> None:
    lines, weights = make_lines(SAMPLES, len(TAXA)), make_weights(TAXA)
    counts = as_matrix(lines, SAMPLES, len(TAXA))
    by_lines, by_matrix = score_lines(TAXA, *lines, samples=SAMPLES), score_matrix(TAXA, counts)
    for index, values in bare_lines(lines, SAMPLES, len(TAXA), weights).items():
        np.testing.assert_array_equal(values, bare_matrix(counts, weights)[index], err_msg=index)
        np.testing.assert_array_equal(by_lines[index], by_matrix[index], err_msg=index)


def test_it_takes_the_quickest_of_the_rounds() -> None:
    calls: list[str] = []
    rate = rates({"a": Way(10, lambda: calls.append("a")), "b": Way(10, lambda: calls.append("b"))})
    assert calls == ["a", "b"] * 3
    assert set(rate) == {"a", "b"}


def test_it_prints_all_ways_and_their_ratios_in_one_run() -> None:
    printed = "\n".join(run(200))
    assert "200 samples, 20 of 85 taxa each" in printed
    assert printed.count("samples/s") == 5
    assert printed.count("vectorised / bare = ") == 2
    assert "highest memory" in printed
