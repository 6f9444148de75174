"""All indices of one sample. Each method is a table, a pure function and a version (`METHODS`)."""

from collections.abc import Callable, Container, Iterable, Mapping

from scoring.indices import bankside, bmwp, diversity, epa, ept, fbi, whpt
from scoring.indices.methods import METHODS, Method
from scoring.indices.results import Score
from scoring.samples import Count, Sample, read_sample
from scoring.taxa import roll_up

__all__ = ["METHODS", "Method", "Score", "score_sample", "unmatched"]

_SCORERS: Mapping[str, Callable[[Sample], Score]] = {
    "bmwp": bmwp.bmwp_total,
    "ntaxa": bmwp.bmwp_taxa,
    "aspt": bmwp.bmwp_mean,
    "whpt": whpt.whpt_total,
    "whpt_ntaxa": whpt.whpt_taxa,
    "whpt_aspt": whpt.whpt_mean,
    "fbi": fbi.family_biotic_index,
    "ept_families": ept.ept_families,
    "ept_percent": ept.ept_percent,
    "richness": diversity.richness,
    "shannon": diversity.shannon,
    "simpson": diversity.simpson,
    "pielou": diversity.pielou,
    "epa_volunteer": epa.epa_volunteer,
    "bankside": bankside.bankside_score,
}


def score_sample(counts: Iterable[Count], *, only: Container[str] | None = None) -> dict[str, Score]:
    """Return the score of every method, or of those in `only`, by its key in `METHODS`.

    Nothing outside the counts has a say.
    """
    sample = read_sample(counts)
    return {index: scorer(sample) for index, scorer in _SCORERS.items() if only is None or index in only}


def unmatched(counts: Iterable[Count]) -> list[str]:
    """Return the recorded names that no table knows, absent ones too, each once and in order of the record."""
    # Absent names count here: a misspelt absence is a wrong record as well.
    names = dict.fromkeys(" ".join(count.taxon.split()) for count in counts)
    return [name for name in names if roll_up(name) is None]
