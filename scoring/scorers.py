"""The indices as sums over a chunk of samples: what `scoring.vectorised` runs."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from scoring.indices import bankside, bmwp, epa, ept, fbi, whpt
from scoring.indices.grouping import Place, place_in_table
from scoring.samples import ABUNDANCE_RANGES
from scoring.taxa import Taxon

Figures = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Taxa = Sequence[Taxon | None]


@dataclass(frozen=True)
class Chunk:
    """Animals of shape (samples, names). Where only presence is known `numbers` has 1 and `unknown` is True."""

    numbers: Figures
    present: Figures
    unknown: Flags | None

    @classmethod
    def of(cls, cells: Figures) -> "Chunk":
        """Return the chunk of an array that has NaN where only presence is known."""
        unknown = np.isnan(cells)
        if not unknown.any():
            return cls(cells, (cells > 0).astype(np.float64), None)
        numbers = np.where(unknown, 1.0, cells)
        return cls(numbers, (numbers > 0).astype(np.float64), unknown)

    def blank(self, values: Figures, used: Flags) -> Figures:
        """Return the values, NaN for samples where a used name (shape (names,)) has no number."""
        if self.unknown is None:
            return values
        return np.where((self.unknown & used).any(axis=1), np.nan, values)


Scorer = Callable[[Chunk], Mapping[str, Figures]]


class Groups:
    """The columns of each scoring taxon, so that joined families are added up before they are scored."""

    def __init__(self, taxa: Taxa, place: Place) -> None:
        targets = [place(taxon) if taxon else "" for taxon in taxa]
        self.names = list(dict.fromkeys(filter(None, targets)))
        places = [(self.names.index(target), at) for at, target in enumerate(targets) if target]
        self.used: Flags = np.array([bool(target) for target in targets])
        first = dict(reversed(places))
        self._first = np.array([first[group] for group in range(len(self.names))], dtype=np.intp)
        self._others = [(group, at) for group, at in places if first[group] != at]

    def add_up(self, cells: Figures) -> Figures:
        """Return the sums of shape (samples, scoring taxa)."""
        sums = cells[:, self._first]
        for group, column in self._others:
            sums[:, group] += cells[:, column]
        return sums

    def values(self, table: Mapping[str, float]) -> Figures:
        """Return the table's value for each scoring taxon."""
        return np.array([table[name] for name in self.names])


def scorers_for(taxa: Taxa) -> list[Scorer]:
    """Return the scorers of all indices for columns of these taxa, None where a name is not known."""
    groups = {table: Groups(taxa, place_in_table(table)) for table in ("bmwp", "whpt", "bankside")}
    return [
        partial(_bmwp, groups["bmwp"], groups["bmwp"].values(bmwp.points())),
        partial(_whpt, groups["whpt"], _steps(groups["whpt"].names, _whpt_steps)),
        partial(_fbi, *_fbi_weights(taxa)),
        partial(_ept_families, Groups(taxa, ept.ept_family)),
        partial(_ept_percent, *_ept_weights(taxa)),
        _diversity,
        partial(_epa, (rated := Groups(taxa, epa.item_of)), _steps(rated.names, epa.weight_steps)),
        partial(_bankside, groups["bankside"], groups["bankside"].values(bankside.weights())),
    ]


def _bmwp(groups: Groups, points: Figures, chunk: Chunk) -> Mapping[str, Figures]:
    present = _present(groups.add_up(chunk.present))
    total, taxa = present @ points, present.sum(axis=1)
    return {"bmwp": total, "ntaxa": taxa, "aspt": total / taxa}


def _whpt(groups: Groups, steps: "Steps", chunk: Chunk) -> Mapping[str, Figures]:
    sums = groups.add_up(chunk.numbers)
    total, taxa = chunk.blank(_by_steps(sums, steps), groups.used), _present(sums).sum(axis=1)
    return {"whpt": total, "whpt_ntaxa": taxa, "whpt_aspt": total / taxa}


def _fbi(tolerances: Figures, used: Flags, chunk: Chunk) -> Mapping[str, Figures]:
    # The weighted mean needs no grouping: each name brings its taxon's value.
    return {"fbi": chunk.blank((chunk.numbers @ tolerances) / (chunk.numbers @ used.astype(float)), used)}


def _ept_families(groups: Groups, chunk: Chunk) -> Mapping[str, Figures]:
    return {"ept_families": _present(groups.add_up(chunk.present)).sum(axis=1)}


def _ept_percent(is_ept: Figures, used: Flags, chunk: Chunk) -> Mapping[str, Figures]:
    share = 100 * (chunk.numbers @ is_ept) / (chunk.numbers @ used.astype(float))
    return {"ept_percent": chunk.blank(share, used)}


def _diversity(chunk: Chunk) -> Mapping[str, Figures]:
    richness, total = chunk.present.sum(axis=1), chunk.numbers.sum(axis=1)
    shares = chunk.numbers / total[:, None]
    # Where a taxon is absent the logarithm is that of 1, so that it adds 0.
    logs = np.log(np.where(shares > 0, shares, 1.0))
    every = np.ones(chunk.numbers.shape[1], dtype=bool)
    shannon = chunk.blank(np.where(total > 0, np.abs(np.einsum("ij,ij->i", shares, logs)), np.nan), every)
    # Asked of the total: without any column there is no 0/0 that would be NaN by itself.
    simpson = chunk.blank(np.where(total > 0, 1 - np.einsum("ij,ij->i", shares, shares), np.nan), every)
    pielou = np.where(richness > 1, shannon / np.log(richness), np.nan)
    return {"richness": richness, "shannon": shannon, "simpson": simpson, "pielou": pielou}


def _epa(groups: Groups, steps: "Steps", chunk: Chunk) -> Mapping[str, Figures]:
    total = _by_steps(groups.add_up(chunk.numbers), steps)
    return {"epa_volunteer": chunk.blank(total, groups.used)}


def _bankside(groups: Groups, weights: Figures, chunk: Chunk) -> Mapping[str, Figures]:
    logs = np.log10(1 + groups.add_up(chunk.numbers))
    return {"bankside": chunk.blank(logs @ weights, groups.used)}


# Steps of a table: lower limit -> what reaching it adds to the value of each scoring taxon.
Steps = Sequence[tuple[float, Figures]]


def _steps(names: Sequence[str], steps_of: Callable[[str], Iterable[tuple[int, float]]]) -> Steps:
    tables = [dict(steps_of(name)) for name in names]
    lows = sorted({low for table in tables for low in table})
    values = [np.array([_value_at(table, low) for table in tables], dtype=float) for low in lows]
    return [
        (low, value - before)
        for low, value, before in zip(lows, values, [np.zeros(len(names)), *values], strict=False)
    ]


def _value_at(table: Mapping[int, float], number: int) -> float:
    return table[max(low for low in table if low <= number)]


def _whpt_steps(name: str) -> Iterable[tuple[int, float]]:
    return zip((low for low, _ in ABUNDANCE_RANGES), whpt.range_values()[name], strict=True)


def _by_steps(sums: Figures, steps: Steps) -> Figures:
    total = np.zeros(len(sums))
    for low, added in steps:
        total += (sums >= low).astype(np.float64) @ added
    return total


def _present(sums: Figures) -> Figures:
    return (sums > 0).astype(np.float64)


def _fbi_weights(taxa: Taxa) -> tuple[Figures, Flags]:
    place, tolerances = place_in_table("fbi"), fbi.tolerances()
    targets = [place(taxon) if taxon else "" for taxon in taxa]
    values = np.array([tolerances[target] if target else 0.0 for target in targets], dtype=float)
    return values, np.array([bool(target) for target in targets])


def _ept_weights(taxa: Taxa) -> tuple[Figures, Flags]:
    is_ept = [float(taxon is not None and taxon.order in ept.EPT_ORDERS) for taxon in taxa]
    return np.array(is_ept, dtype=float), np.array([taxon is not None for taxon in taxa])
