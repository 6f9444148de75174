"""The scores of many samples of exact counts with all that is kept of them: reasons and names left out too.

Equal, sample by sample, to `score_sample`. Exact counts leave one value: there is no lowest and no highest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from scoring.indices import METHODS
from scoring.indices.epa import item_of
from scoring.indices.ept import ept_family
from scoring.indices.grouping import Place, place_in_table
from scoring.sentences import NO_ANIMALS, NO_SCORING_TAXON, NO_VALUE, NOT_RECOGNISED, ONE_TAXON
from scoring.taxa import roll_up
from scoring.vectorised import Figures, Numbers, score_matrix

Flags = npt.NDArray[np.bool_]
Names = Sequence[tuple[str, ...]]

DIVERSITY = ("richness", "shannon", "simpson", "pielou")
_PLACES: Mapping[str, Place] = {
    **dict.fromkeys(("bmwp", "ntaxa", "aspt"), place_in_table("bmwp")),
    **dict.fromkeys(("whpt", "whpt_ntaxa", "whpt_aspt"), place_in_table("whpt")),
    "fbi": place_in_table("fbi"),
    "ept_families": ept_family,
    "ept_percent": lambda taxon: taxon.name,
    "epa_volunteer": item_of,
    "bankside": place_in_table("bankside"),
}
# Why an index has no value: in an empty sample, and in one that holds nothing it could stand on.
_REASONS: Mapping[str, tuple[str, str]] = {
    "aspt": (NO_SCORING_TAXON, NO_SCORING_TAXON),
    "whpt_aspt": (NO_SCORING_TAXON, NO_SCORING_TAXON),
    "fbi": (NO_VALUE, NO_VALUE),
    "ept_percent": (NO_ANIMALS, NOT_RECOGNISED),
    "shannon": (NO_ANIMALS, NO_ANIMALS),
    "simpson": (NO_ANIMALS, NO_ANIMALS),
    "pielou": (NO_ANIMALS, ONE_TAXON),
}


@dataclass(frozen=True)
class Explained:
    """One index of many samples, each part as long as the samples.

    `values` is NaN where `why_none` has a sentence, blank elsewhere; `left_out` holds names as recorded.
    """

    version: str
    values: Figures
    why_none: Sequence[str]
    left_out: Names


def explain_matrix(taxa: Sequence[str], counts: Numbers) -> dict[str, Explained]:
    """Return every index for exact counts of shape (samples, taxa), 0 for absence.

    Raises ValueError for another shape and for anything that is not a number of animals, NaN too.
    """
    if np.isnan(counts).any():
        raise ValueError("a number is missing, so the counts are not exact")
    values, present = score_matrix(taxa, counts), counts > 0
    # A sample names its taxa in alphabetical order.
    order = sorted(range(len(taxa)), key=lambda column: taxa[column])
    names = [" ".join(taxa[column].split()) for column in order]
    shown = _first_spellings(names, present[:, order])
    left_out = _left_out(names, shown, values["pielou"])
    is_empty = present.sum(axis=1) == 0
    reasons = {index: _why_none(index, values[index], is_empty) for index in METHODS}
    return {
        index: Explained(method.version, values[index], reasons[index], left_out[index])
        for index, method in METHODS.items()
    }


def _first_spellings(names: Sequence[str], present: Flags) -> Flags:
    """Return which names a sample shows: of several spellings of one name the first that it has."""
    shown, columns = present.copy(), dict[str, list[int]]()
    for column, name in enumerate(names):
        earlier = columns.setdefault(name.casefold(), [])
        if earlier:
            shown[:, column] &= ~present[:, earlier].any(axis=1)
        earlier.append(column)
    return shown


def _left_out(names: Sequence[str], shown: Flags, evenness: Figures) -> dict[str, Names]:
    taxa = [roll_up(name) for name in names]
    found: dict[str, Names] = {}
    by_place: dict[Place, Names] = {}
    for index, place in _PLACES.items():
        if place not in by_place:
            used = np.array([bool(taxon and place(taxon)) for taxon in taxa], dtype=bool)
            by_place[place] = _names_of(names, shown & ~used)
        found[index] = by_place[place]
    # Every recorded name counts for diversity; without a value none of them was used.
    found |= dict.fromkeys(DIVERSITY, [()] * len(shown))
    found["pielou"] = _names_of(names, shown & np.isnan(evenness)[:, None])
    return found


def _names_of(names: Sequence[str], chosen: Flags) -> Names:
    rows, columns = np.nonzero(chosen)
    told = [names[column] for column in columns.tolist()]
    ends = np.searchsorted(rows, np.arange(len(chosen) + 1)).tolist()
    return [tuple(told[start:stop]) for start, stop in pairwise(ends)]


def _why_none(index: str, values: Figures, is_empty: Flags) -> Sequence[str]:
    told = [""] * len(values)
    for row in np.flatnonzero(np.isnan(values)).tolist():
        of_empty, of_others = _REASONS[index]
        told[row] = of_empty if is_empty[row] else of_others
    return told
