"""WHPT, abundance-weighted: total, number of scoring taxa and mean (tables/whpt.csv, values from memory).

Each taxon's value depends on the range its animals fall in. The presence-only values of the method are not
held, so a taxon without a number leaves total and mean undefined, with the lowest and highest possible.
"""

import math
from collections.abc import Mapping, Sequence
from functools import cache

from scoring.indices.grouping import Grouping, group_sample, place_in_table
from scoring.indices.results import Limits, Parts, Score, make_score, spread, tidy
from scoring.samples import ABUNDANCE_RANGES, Amount, Sample
from scoring.sentences import NO_NUMBER_PRESENCE, NO_SCORING_TAXON
from scoring.tables import read_table


def whpt_total(sample: Sample) -> Score:
    """Return the sum of the values of all WHPT taxa present. It may be negative; 0 without any."""
    return _score("whpt", _group(sample), 1)


def whpt_taxa(sample: Sample) -> Score:
    """Return the number of WHPT taxa present; families that BMWP joins count apart."""
    grouping = _group(sample)
    return make_score("whpt_ntaxa", grouping, len(grouping.amounts))


def whpt_mean(sample: Sample) -> Score:
    """Return the mean value per scoring taxon; None without any."""
    grouping = _group(sample)
    if not grouping.amounts:
        return make_score("whpt_aspt", grouping, None, why_none=NO_SCORING_TAXON)
    return _score("whpt_aspt", grouping, len(grouping.amounts))


def values_possible(taxon: str, amount: Amount) -> Sequence[float]:
    """Return the taxon's values in all ranges that its animals may fall in."""
    values = range_values()[taxon]
    return values[_range_index(amount.fewest) : _range_index(amount.most) + 1]


def _group(sample: Sample) -> Grouping:
    return group_sample(sample, place_in_table("whpt"))


def _score(index: str, grouping: Grouping, divisor: int) -> Score:
    why_none, parts = _why_none(grouping), _parts(grouping)
    value = None if why_none else tidy(math.fsum(value for _, value in parts) / divisor)
    limits = _limits(grouping, divisor)
    return make_score(index, grouping, value, why_none=why_none, limits=limits, parts=parts)


def _limits(grouping: Grouping, divisor: int) -> Limits:
    possible = [values_possible(taxon, amount) for taxon, amount in grouping.amounts.items()]
    low, high = (math.fsum(map(end, possible)) / divisor for end in (min, max))
    return spread(low, high)


def _why_none(grouping: Grouping) -> str:
    # Leaving the taxon out instead would shift total and mean without a word.
    unknown = grouping.without_number
    return NO_NUMBER_PRESENCE.format(names=", ".join(unknown)) if unknown else ""


def _parts(grouping: Grouping) -> Parts:
    numbers = ((taxon, amount.number) for taxon, amount in grouping.amounts.items())
    return tuple(
        (taxon, range_values()[taxon][_range_index(number)]) for taxon, number in numbers if number is not None
    )


def _range_index(number: float) -> int:
    # By lower limits, so that a stand-in between two whole limits (9.5) stays in the range below.
    return sum(number >= low for low, _ in ABUNDANCE_RANGES) - 1


@cache
def range_values() -> Mapping[str, tuple[float, ...]]:
    """Return the values of each WHPT taxon, one for each of `ABUNDANCE_RANGES`."""
    columns = [f"from_{low}" for low, _ in ABUNDANCE_RANGES]
    return {row["taxon"]: tuple(float(row[column]) for column in columns) for row in read_table("whpt")}
