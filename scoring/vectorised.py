"""The scores of many samples at once, equal to `score_sample` of each, without its parts, limits and sentences.

Samples are worked off in chunks, so that memory beyond input and output stays at some tens of megabytes.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from scoring.indices import METHODS
from scoring.scorers import Chunk, Scorer, scorers_for
from scoring.taxa import roll_up

Figures = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.integer] | npt.NDArray[np.floating]
Indexes = npt.NDArray[np.integer]
Rows = Callable[[int, int], Figures]

# Keeps the working arrays of one chunk in the processor's cache.
CHUNK_CELLS = 1 << 17


def score_matrix(taxa: Sequence[str], counts: Numbers) -> dict[str, Figures]:
    """Return the values of every index, each of shape (samples,), for counts of shape (samples, taxa).

    0 is absence, NaN presence without a number, anything else at least 1; a range is given by its stand-in
    (scoring.samples). A value that is not defined is NaN. Raises ValueError for another
    shape, a negative or an infinite number.
    """
    if counts.ndim != 2 or counts.shape[1] != len(taxa):
        raise ValueError(f"counts of the shape (samples, {len(taxa)}) are needed, not {counts.shape}")
    return _score_rows(taxa, len(counts), lambda start, stop: counts[start:stop].astype(np.float64))


def score_lines(
    taxa: Sequence[str], sample_index: Indexes, taxon_index: Indexes, numbers: Numbers, *, samples: int
) -> dict[str, Figures]:
    """Return the same for lines of a record: sample, taxon (an index into `taxa`) and number of animals.

    The three arrays have one length; lines of one sample and taxon are added up. Raises ValueError for arrays
    of different lengths, an index out of reach, a negative or an infinite number.
    """
    _check_lines(sample_index, taxon_index, numbers, (samples, len(taxa)))
    if len(sample_index) > 1 and (sample_index[1:] < sample_index[:-1]).any():
        order = np.argsort(sample_index, kind="stable")
        sample_index, taxon_index, numbers = sample_index[order], taxon_index[order], numbers[order]
    # Looked up once: a search per chunk would copy the whole array each time to match integer types.
    ends = np.searchsorted(sample_index, np.arange(samples + 1))

    def rows(start: int, stop: int) -> Figures:
        lines = slice(ends[start], ends[stop])
        cells = (sample_index[lines].astype(np.int64) - start) * len(taxa) + taxon_index[lines]
        sums = np.bincount(cells, weights=numbers[lines], minlength=(stop - start) * len(taxa))
        return sums.astype(np.float64, copy=False).reshape(stop - start, len(taxa))

    return _score_rows(taxa, samples, rows)


def _check_lines(sample_index: Indexes, taxon_index: Indexes, numbers: Numbers, shape: tuple[int, int]) -> None:
    if not len(sample_index) == len(taxon_index) == len(numbers):
        raise ValueError("sample, taxon and number need arrays of one length")
    for name, index, size in (("sample", sample_index, shape[0]), ("taxon", taxon_index, shape[1])):
        if len(index) and not (index.min() >= 0 and index.max() < size):
            raise ValueError(f"a {name} index lies outside 0 to {size - 1}")
    # Checked here, because a sum could hide a negative number.
    if (numbers < 0).any():
        raise ValueError("a number of animals is below 0")


def _score_rows(taxa: Sequence[str], samples: int, rows: Rows) -> dict[str, Figures]:
    names, columns = _distinct(taxa)
    scorers = scorers_for([roll_up(name) for name in names])
    found = {index: np.empty(samples) for index in METHODS}
    step = max(1, CHUNK_CELLS // max(1, len(taxa)))
    for start in range(0, samples, step):
        stop = min(start + step, samples)
        _fill(found, scorers, _chunk(rows(start, stop), columns, len(names)), slice(start, stop))
    return found


def _fill(found: Mapping[str, Figures], scorers: Sequence[Scorer], chunk: Chunk, where: slice) -> None:
    with np.errstate(divide="ignore", invalid="ignore"):
        for scorer in scorers:
            for index, values in scorer(chunk).items():
                # As `tidy` does: noise of binary fractions would part values that print alike.
                np.round(values, 9, out=found[index][where])


def _distinct(taxa: Sequence[str]) -> tuple[list[str], npt.NDArray[np.intp]]:
    """Return each recorded name once, and for every column the place of its name (case and spaces aside)."""
    keys = [" ".join(name.casefold().split()) for name in taxa]
    if not all(keys):
        raise ValueError("the taxon is blank")
    places = {key: place for place, key in enumerate(dict.fromkeys(keys))}
    return list(places), np.array([places[key] for key in keys], dtype=np.intp)


def _chunk(cells: Figures, columns: npt.NDArray[np.intp], names: int) -> Chunk:
    if (cells < 0).any() or np.isinf(cells).any():
        raise ValueError("a number of animals is below 0 or infinite")
    if len(columns) > names:
        joined = np.zeros((len(cells), names))
        for column, place in enumerate(columns):
            joined[:, place] += cells[:, column]
        cells = joined
    return Chunk.of(cells)
