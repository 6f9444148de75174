"""BMWP total, number of scoring taxa and ASPT (tables/bmwp.csv). Only presence counts."""

import math
from collections.abc import Mapping
from functools import cache

from scoring.indices.grouping import Grouping, group_sample, place_in_table
from scoring.indices.results import Score, make_score
from scoring.samples import Sample
from scoring.sentences import NO_SCORING_TAXON
from scoring.tables import read_table


def bmwp_total(sample: Sample) -> Score:
    """Return the sum of the scores of all BMWP taxa present; joined families score once. 0 without any."""
    grouping = _group(sample)
    return _score("bmwp", grouping, math.fsum(points()[taxon] for taxon in grouping.amounts))


def bmwp_taxa(sample: Sample) -> Score:
    """Return the number of BMWP taxa present."""
    grouping = _group(sample)
    return _score("ntaxa", grouping, len(grouping.amounts))


def bmwp_mean(sample: Sample) -> Score:
    """Return the average score per taxon: total over scoring taxa only; None without any."""
    grouping = _group(sample)
    if not grouping.amounts:
        return _score("aspt", grouping, None, NO_SCORING_TAXON)
    total = math.fsum(points()[taxon] for taxon in grouping.amounts)
    return _score("aspt", grouping, total / len(grouping.amounts))


# Only who is there counts: how many there are is left to WHPT.
def _group(sample: Sample) -> Grouping:
    return group_sample(sample, place_in_table("bmwp"))


def _score(index: str, grouping: Grouping, value: float | None, why_none: str = "") -> Score:
    parts = tuple((taxon, points()[taxon]) for taxon in grouping.amounts)
    return make_score(index, grouping, value, why_none=why_none, parts=parts)


@cache
def points() -> Mapping[str, float]:
    """Return the score of each BMWP taxon."""
    return {row["taxon"]: float(row["score"]) for row in read_table("bmwp")}
