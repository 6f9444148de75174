"""The stream rating of the EPA volunteer manual (tables/epa_*.csv, weights, bands and groups from memory).

The kinds of animal in each sensitivity group are counted by abundance, and each is worth a weight.
"""

import math
from collections.abc import Mapping, Sequence
from functools import cache

from scoring.indices.grouping import Grouping, group_sample
from scoring.indices.results import Limits, Parts, Score, make_score, spread, tidy, why_no_number
from scoring.samples import Amount, Sample
from scoring.tables import read_table, split_names
from scoring.taxa import Taxon


def epa_volunteer(sample: Sample) -> Score:
    """Return the rating's score, 0 without any of its kinds of animal; None where a number is not recorded."""
    grouping = group_sample(sample, item_of)
    # No animal of the list is a result too (0, poor): a dead stream must not read as not rated.
    limits, parts, unknown = _limits(grouping), _parts(grouping), grouping.without_number
    if unknown:
        why_none = why_no_number(unknown)
        return make_score("epa_volunteer", grouping, None, why_none=why_none, limits=limits, parts=parts)
    value = tidy(math.fsum(weight for _, weight in parts))
    return make_score("epa_volunteer", grouping, value, limits=limits, rating=epa_band(value), parts=parts)


def epa_band(value: float) -> str:
    """Return good above 40, fair from 20 to 40, poor below."""
    return next(row["band"] for row in read_table("epa_bands") if _reaches(value, row))


def _reaches(value: float, row: Mapping[str, str]) -> bool:
    lower = float(row["lower"])
    return value > lower or (value == lower and row["lower_included"] == "yes")


def _limits(grouping: Grouping) -> Limits:
    possible = [_weights_possible(item, amount) for item, amount in grouping.amounts.items()]
    low, high = (math.fsum(map(end, possible)) for end in (min, max))
    return spread(low, high)


def _parts(grouping: Grouping) -> Parts:
    numbers = ((item, amount.number) for item, amount in grouping.amounts.items())
    return tuple((item, _weight(item, number)) for item, number in numbers if number is not None)


def _weights_possible(item: str, amount: Amount) -> Sequence[float]:
    steps = weight_steps(item)
    return [
        weight
        for at, (low, weight) in enumerate(steps)
        if amount.most >= low and (at + 1 == len(steps) or amount.fewest < steps[at + 1][0])
    ]


def _weight(item: str, number: float) -> float:
    return next(weight for low, weight in reversed(weight_steps(item)) if number >= low)


def weight_steps(item: str) -> Sequence[tuple[int, float]]:
    """Return the weights of a kind of animal, each with the number of animals it starts at."""
    return _weights()[_groups()[item]]


def item_of(taxon: Taxon) -> str:
    """Return the kind of animal that the rating counts the taxon as, "" for none."""
    # Nearest first: Neritidae are gilled snails before they are snails.
    return next((_items()[name] for name in taxon.lineage if name in _items()), "")


@cache
def _items() -> Mapping[str, str]:
    return {name: row["item"] for row in read_table("epa_taxa") for name in split_names(row["counted_as"])}


@cache
def _groups() -> Mapping[str, str]:
    return {row["item"]: row["group"] for row in read_table("epa_taxa")}


@cache
def _weights() -> Mapping[str, Sequence[tuple[int, float]]]:
    steps: dict[str, list[tuple[int, float]]] = {}
    for row in read_table("epa_weights"):
        steps.setdefault(row["group"], []).append((int(row["low"]), float(row["weight"])))
    return steps
