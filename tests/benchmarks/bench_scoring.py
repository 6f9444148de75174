"""How many samples a second the scoring of all indices takes: `make bench`, or with a number of samples.

Three ways over the same invented samples of 20 taxa: the vectorised path, the plain function per sample, and
a bare numpy pass that does only the arithmetic no way can leave out. The bare pass knows every taxon by its
column: no names, no joined families, no checks, no missing numbers.
"""

import argparse
import resource
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scoring.indices import METHODS, bankside, bmwp, epa, ept, fbi, score_sample, whpt
from scoring.indices.grouping import Place, place_in_table
from scoring.samples import Count
from scoring.tables import read_table
from scoring.taxa import find_taxon
from scoring.vectorised import CHUNK_CELLS, score_lines, score_matrix

Figures = npt.NDArray[np.float64]
Lines = tuple[npt.NDArray[np.int32], npt.NDArray[np.int16], npt.NDArray[np.int32]]

TAXA_PER_SAMPLE = 20
PLAIN_SAMPLES = 2_000
ROUNDS = 3
LIMITS = (1, 10, 100, 1000)


@dataclass(frozen=True)
class Weights:
    """What the bare pass multiplies by, one row per column of counts."""

    points: Figures
    tolerances: Figures
    has_tolerance: Figures
    is_in_whpt: Figures
    is_ept: Figures
    whpt: Sequence[tuple[int, Figures]]
    items: Figures
    epa: Sequence[tuple[int, Figures]]
    groups: Figures
    bankside: Figures


@dataclass(frozen=True)
class Way:
    """One way to score so many samples."""

    samples: int
    work: Callable[[], object]


def make_lines(samples: int, taxa: int, seed: int = 1) -> Lines:
    """Invented lines: in each sample 20 different taxa with skewed numbers."""
    rng = np.random.default_rng(seed)
    sample = np.repeat(np.arange(samples, dtype=np.int32), TAXA_PER_SAMPLE)
    # Steps prime to nothing in particular, yet never hitting one taxon twice in a sample.
    start = rng.integers(0, taxa, samples)[:, None]
    taxon = ((start + np.arange(TAXA_PER_SAMPLE) * 4) % taxa).astype(np.int16).ravel()
    numbers = np.ceil(rng.lognormal(2, 1.6, len(sample))).astype(np.int32)
    return sample, taxon, numbers


def as_matrix(lines: Lines, samples: int, taxa: int) -> npt.NDArray[np.int32]:
    """The same as counts of shape (samples, taxa)."""
    counts = np.zeros((samples, taxa), dtype=np.int32)
    counts[lines[0], lines[1]] = lines[2]
    return counts


def make_weights(taxa: Sequence[str]) -> Weights:
    """The tables' values of each taxon, 0 where a table lacks it."""
    orders = [found.order if (found := find_taxon(name)) else "" for name in taxa]
    ranges = {name: dict(zip(LIMITS, row, strict=True)) for name, row in whpt.range_values().items()}
    items = [row["item"] for row in read_table("epa_taxa")]
    return Weights(
        points=_column(taxa, place_in_table("bmwp"), bmwp.points()),
        tolerances=_column(taxa, place_in_table("fbi"), fbi.tolerances()),
        has_tolerance=_column(taxa, place_in_table("fbi"), dict.fromkeys(fbi.tolerances(), 1.0)),
        is_in_whpt=_column(taxa, place_in_table("whpt"), dict.fromkeys(ranges, 1.0)),
        is_ept=np.array([float(order in ept.EPT_ORDERS) for order in orders]),
        whpt=_steps([ranges.get(name, {}) for name in taxa]),
        items=_members(taxa, epa.item_of, items),
        epa=_steps([dict(epa.weight_steps(item)) for item in items]),
        groups=_members(taxa, place_in_table("bankside"), list(bankside.weights())),
        bankside=np.array(list(bankside.weights().values())),
    )


def _column(taxa: Sequence[str], place: Place, table: Mapping[str, float]) -> Figures:
    found = [find_taxon(name) for name in taxa]
    return np.array([table.get(place(taxon), 0.0) if taxon else 0.0 for taxon in found])


def _members(taxa: Sequence[str], place: Place, groups: Sequence[str]) -> Figures:
    return np.array([_column(taxa, place, {group: 1.0}) for group in groups]).T


def _steps(tables: Sequence[Mapping[int, float]]) -> Sequence[tuple[int, Figures]]:
    lows = sorted({low for table in tables for low in table})
    before, steps = np.zeros(len(tables)), []
    for low in lows:
        value = np.array([table[max(at for at in table if at <= low)] if table else 0.0 for table in tables])
        steps.append((low, value - before))
        before = value
    return steps


def bare_matrix(counts: npt.NDArray[np.int32], weights: Weights) -> dict[str, Figures]:
    """The unavoidable arithmetic, in chunks as well: without them it would be slower."""
    step = CHUNK_CELLS // counts.shape[1]
    parts = [bare_pass(counts[at : at + step].astype(float), weights) for at in range(0, len(counts), step)]
    return {index: np.concatenate([part[index] for part in parts]) for index in parts[0]}


def bare_lines(lines: Lines, samples: int, taxa: int, weights: Weights) -> dict[str, Figures]:
    """The same for lines, which have to become rows first."""
    step, parts = CHUNK_CELLS // taxa, []
    for start in range(0, samples, step):
        size = min(step, samples - start)
        rows = slice(start * TAXA_PER_SAMPLE, (start + size) * TAXA_PER_SAMPLE)
        cells = np.zeros((size, taxa))
        cells[lines[0][rows] - start, lines[1][rows]] = lines[2][rows]
        parts.append(bare_pass(cells, weights))
    return {index: np.concatenate([part[index] for part in parts]) for index in parts[0]}


def bare_pass(numbers: Figures, weights: Weights) -> dict[str, Figures]:
    """All indices of one chunk of counts, shape (samples, taxa)."""
    present = (numbers > 0).astype(float)
    richness, total = present.sum(axis=1), numbers.sum(axis=1)
    points, value = present @ weights.points, _by_steps(numbers, weights.whpt)
    valued = present @ weights.is_in_whpt
    shares = numbers / total[:, None]
    shannon = -(shares * np.log(shares + (shares == 0))).sum(axis=1)
    return {
        "bmwp": points,
        "ntaxa": richness,
        "aspt": points / richness,
        "whpt": value,
        "whpt_ntaxa": valued,
        "whpt_aspt": value / valued,
        "fbi": (numbers @ weights.tolerances) / (numbers @ weights.has_tolerance),
        "ept_families": present @ weights.is_ept,
        "ept_percent": 100 * (numbers @ weights.is_ept) / total,
        "richness": richness,
        "shannon": shannon,
        "simpson": 1 - (shares**2).sum(axis=1),
        "pielou": shannon / np.log(richness),
        "epa_volunteer": _by_steps(numbers @ weights.items, weights.epa),
        "bankside": np.log10(1 + numbers @ weights.groups) @ weights.bankside,
    }


def _by_steps(numbers: Figures, steps: Sequence[tuple[int, Figures]]) -> Figures:
    parts: list[Figures] = [(numbers >= low).astype(float) @ added for low, added in steps]
    return sum(parts[1:], parts[0])


def rates(ways: Mapping[str, Way]) -> dict[str, float]:
    """Samples a second of each way: the quickest of three rounds, the ways in turn.

    Slower rounds measure what else the machine was doing, and in turn it disturbs all ways alike.
    """
    rounds = [{name: _time(way.work) for name, way in ways.items()} for _ in range(ROUNDS)]
    return {name: way.samples / min(times[name] for times in rounds) for name, way in ways.items()}


def _time(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def plain(counts: npt.NDArray[np.int32], taxa: Sequence[str]) -> None:
    """The function that scores one visit, for the first samples."""
    for row in counts[:PLAIN_SAMPLES].tolist():
        score_sample([Count(taxon, number) for taxon, number in zip(taxa, row, strict=True) if number])


def make_ways(samples: int, taxa: Sequence[str]) -> dict[str, Way]:
    """All ways over the same samples."""
    lines, weights = make_lines(samples, len(taxa)), make_weights(taxa)
    counts = as_matrix(lines, samples, len(taxa))
    return {
        "plain": Way(min(samples, PLAIN_SAMPLES), lambda: plain(counts, taxa)),
        "matrix": Way(samples, lambda: score_matrix(taxa, counts)),
        "bare matrix": Way(samples, lambda: bare_matrix(counts, weights)),
        "lines": Way(samples, lambda: score_lines(taxa, *lines, samples=samples)),
        "bare lines": Way(samples, lambda: bare_lines(lines, samples, len(taxa), weights)),
    }


def run(samples: int) -> list[str]:
    """Run all ways and return the lines to print."""
    taxa = [row["taxon"] for row in read_table("bmwp")]
    rate = rates(make_ways(samples, taxa))
    told = [f"plain function, one by one   {rate['plain']:12,.0f} samples/s"]
    for form in ("matrix", "lines"):
        quick, bare = rate[form], rate[f"bare {form}"]
        told += [
            f"vectorised, counts as {form:6} {quick:12,.0f} samples/s, {quick / rate['plain']:.0f} times plain",
            f"bare numpy, counts as {form:6} {bare:12,.0f} samples/s; vectorised / bare = {quick / bare:.2f}",
        ]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    title = f"{samples:,} samples, {TAXA_PER_SAMPLE} of {len(taxa)} taxa each, all {len(METHODS)} indices"
    return [title, *told, f"highest memory of the whole run: {peak:.2f} GiB"]


def main() -> None:
    """Print the figures of one run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("samples", type=int, nargs="?", default=1_000_000, help="number of samples")
    print("\n".join(run(parser.parse_args().samples)))


if __name__ == "__main__":
    main()
