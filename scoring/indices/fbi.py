"""Hilsenhoff's family biotic index with its classes (tables/fbi.csv, tables/fbi_classes.csv)."""

from collections.abc import Mapping
from decimal import ROUND_HALF_UP, Decimal
from functools import cache

from scoring.indices.bounds import limits_of_mean, weighted_mean
from scoring.indices.grouping import Grouping, group_sample, place_in_table
from scoring.indices.results import Score, make_score, tidy, why_no_number
from scoring.samples import Sample
from scoring.sentences import NO_VALUE
from scoring.tables import read_table


def family_biotic_index(sample: Sample) -> Score:
    """Return the mean tolerance (0 to 10, high = polluted) of the animals that have a value.

    Animals without one leave both sums; the list holds arthropods only, so worms and snails never count.
    """
    grouping = group_sample(sample, place_in_table("fbi"))
    why_none = _why_none(grouping)
    if why_none:
        return make_score("fbi", grouping, None, why_none=why_none)
    value = tidy(weighted_mean(tolerances(), grouping.amounts))
    limits = limits_of_mean(tolerances(), grouping.amounts)
    parts = tuple((taxon, tolerances()[taxon]) for taxon in grouping.amounts)
    return make_score("fbi", grouping, value, limits=limits, rating=fbi_class(value), parts=parts)


def fbi_class(value: float) -> str:
    """Return the class of a value from 0 to 10, rounded half up to two decimals, as the limits are printed."""
    # The limits leave gaps (3.75, 3.76), so a value has to be rounded before it is classed.
    printed = half_up(value, 2)
    return next(row["class"] for row in read_table("fbi_classes") if printed <= Decimal(row["upper"]))


def half_up(value: float, decimals: int) -> Decimal:
    """Round as tables are rounded by hand: 4.255 to 4.26, where binary rounding would give 4.25."""
    # repr gives the shortest decimal, so 4.255 is a tie and not 4.25499999.
    return Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)


def _why_none(grouping: Grouping) -> str:
    if not grouping.amounts:
        return NO_VALUE
    return why_no_number(grouping.without_number) if grouping.without_number else ""


@cache
def tolerances() -> Mapping[str, float]:
    """Return the tolerance value of each taxon of the list."""
    return {row["taxon"]: float(row["tolerance"]) for row in read_table("fbi")}
