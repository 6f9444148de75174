"""Diversity indices against scikit-bio (skbio.diversity.alpha), over published and random samples.

Shannon with the natural logarithm, Simpson as 1 - sum p^2, Pielou's evenness as H' / ln S, and richness. The
samples: the worked examples of data/worked_examples.json, the 20 samples of the Meaudret (data/SOURCE.md),
and drawn ones with skewed numbers.
"""

import csv
import json
import math
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from itertools import groupby
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from scoring.explained import explain_matrix
from scoring.samples import read_sample
from tests.scoring.making import exact, value

DATA = Path(__file__).parent / "data"
Counts = Mapping[str, int]
INDICES = ("richness", "shannon", "simpson", "pielou")


@pytest.fixture(scope="module")
def skbio() -> ModuleType:
    """The library, loaded only where it is asked: that alone takes some seconds."""
    return import_module("skbio.diversity.alpha")


@pytest.fixture(scope="module")
def theirs(skbio: ModuleType) -> Mapping[str, Callable[[Sequence[int]], float]]:
    return {
        "richness": skbio.sobs,
        "shannon": lambda numbers: skbio.shannon(numbers, base=math.e),
        "simpson": skbio.simpson,
        "pielou": skbio.pielou_e,
    }


def worked() -> dict[str, Counts]:
    examples = json.loads((DATA / "worked_examples.json").read_text(encoding="utf-8"))
    counts = {each["id"]: each["input"].get("counts") for each in examples}
    return {name: found for name, found in counts.items() if isinstance(found, dict)}


def meaudret() -> dict[str, Counts]:
    with (DATA / "meaudret_counts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    samples = groupby(rows, key=lambda row: row["sample"])
    return {sample: {row["taxon"]: int(row["abundance"]) for row in found} for sample, found in samples}


def drawn() -> dict[str, Counts]:
    rng = np.random.default_rng(11)
    sizes = [2, 2, 3, 5, 8, 13, 21, 34, 55] * 4
    return {
        f"drawn {at}": {f"Taxon {n}": int(x) for n, x in enumerate(np.ceil(rng.lognormal(1.5, 2, size)))}
        for at, size in enumerate(sizes)
    }


def numbers_of(counts: Counts) -> list[int]:
    """The numbers of the animals as the indices read them: names that differ in case only are one taxon."""
    return [amount.fewest for amount in read_sample(exact(counts)).values()]


@pytest.mark.parametrize("samples", [worked, meaudret, drawn], ids=lambda samples: samples.__name__)
def test_it_agrees_with_the_library(samples: Callable[[], dict[str, Counts]], theirs: Any) -> None:
    compared = 0
    for name, counts in samples().items():
        numbers = numbers_of(counts)
        for index in INDICES:
            # Of nothing, and of the evenness of one taxon, the library says NaN or 1; here there is no value.
            if len(numbers) >= (2 if index == "pielou" else 1):
                expected = float(theirs[index](numbers))
                assert value(index, counts) == pytest.approx(expected, abs=1e-8), (name, index)
                compared += 1
    assert compared >= 20


def test_the_vectorised_path_agrees_with_the_library(theirs: Any) -> None:
    samples = list(drawn().values())
    taxa = sorted({taxon for counts in samples for taxon in counts})
    table = np.array([[counts.get(taxon, 0) for taxon in taxa] for counts in samples])
    told = explain_matrix(taxa, table)
    for index in INDICES:
        expected = [float(theirs[index](row)) for row in table]
        np.testing.assert_allclose(told[index].values, expected, rtol=1e-9, atol=1e-8, err_msg=index)


def test_the_library_knows_one_form_of_simpson_from_another(skbio: ModuleType) -> None:
    # Two taxa of 3 and 1: sum p^2 = 10/16. The complement is ours, neither the dominance nor the inverse.
    assert value("simpson", {"Baetidae": 3, "Elmidae": 1}) == pytest.approx(6 / 16)
    assert skbio.simpson([3, 1]) == pytest.approx(6 / 16)
    assert skbio.simpson_d([3, 1]) == pytest.approx(10 / 16)
    assert skbio.inv_simpson([3, 1]) == pytest.approx(16 / 10)


def test_another_base_of_the_logarithm_would_be_seen(skbio: ModuleType) -> None:
    assert skbio.shannon([3, 1], base=2) != pytest.approx(value("shannon", {"Baetidae": 3, "Elmidae": 1}))
