"""A plain score for a short list of broad groups, counted at the bank (tables/bankside.csv).

Not a published index: the formula is this project's own, and only its weights rest on published scores.
"""

import math
from collections.abc import Mapping, Sequence
from functools import cache

from scoring.indices.bmwp import points
from scoring.indices.grouping import Grouping, group_sample, place_in_table
from scoring.indices.results import NO_LIMITS, Limits, Parts, Score, make_score, spread, tidy, why_no_number
from scoring.samples import Amount, Sample
from scoring.tables import read_table
from scoring.taxa import find_taxon

# Middle of the BMWP scale, 1 to 10: groups above it are sensitive and lift the score, those below lower it.
MIDDLE = 5.5
# An open range is taken to end where the published one of 1,000 and more does, at tenfold its start.
OPEN_RANGE = 10


def bankside_score(sample: Sample) -> Score:
    """Return the sum over the groups of weight x log10(1 + animals); 0 where none of them was found.

    Sensitive groups add, tolerant ones take away; ten times the animals move the score by about one weight.
    """
    grouping = group_sample(sample, place_in_table("bankside"))
    unknown = grouping.without_number
    if unknown:
        return make_score("bankside", grouping, None, why_none=why_no_number(unknown), parts=_parts(grouping))
    value = tidy(math.fsum(part for _, part in _parts(grouping)))
    return make_score("bankside", grouping, value, limits=_limits(grouping), parts=_parts(grouping))


@cache
def weights() -> Mapping[str, float]:
    """Return the weight of each group: the mean BMWP score of its families less the middle of the scale."""
    return {row["taxon"]: _mean_points(row["taxon"]) - MIDDLE for row in read_table("bankside")}


def _mean_points(group: str) -> float:
    scores = [score for name, score in points().items() if group in _lineage(name)]
    return math.fsum(scores) / len(scores)


def _lineage(name: str) -> Sequence[str]:
    taxon = find_taxon(name)
    return taxon.lineage if taxon else ()


def _parts(grouping: Grouping) -> Parts:
    numbers = ((group, amount.number) for group, amount in grouping.amounts.items())
    return tuple((group, _part(group, number)) for group, number in numbers if number is not None)


def _limits(grouping: Grouping) -> Limits:
    if grouping.without_number:
        return NO_LIMITS
    ends = [
        sorted((_part(group, amount.fewest), _part(group, _most(amount))))
        for group, amount in grouping.amounts.items()
    ]
    return spread(math.fsum(low for low, _ in ends), math.fsum(high for _, high in ends))


def _most(amount: Amount) -> float:
    return OPEN_RANGE * amount.fewest - 1 if math.isinf(amount.most) else amount.most


def _part(group: str, number: float) -> float:
    return weights()[group] * math.log10(1 + number)
