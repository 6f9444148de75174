"""Mayflies, stoneflies and caddisflies: families of the three orders, and their share of all animals."""

from scoring.indices.bounds import limits_of_mean, weighted_mean
from scoring.indices.grouping import Grouping, group_sample
from scoring.indices.results import Score, make_score, tidy, why_no_number
from scoring.samples import Sample
from scoring.sentences import NO_ANIMALS, NOT_RECOGNISED
from scoring.taxa import Taxon

EPT_ORDERS = frozenset({"Ephemeroptera", "Plecoptera", "Trichoptera"})


def ept_families(sample: Sample) -> Score:
    """Return the number of distinct families of the three orders, as recorded, before BMWP joins any."""
    grouping = group_sample(sample, ept_family)
    parts = tuple((family, 1.0) for family in grouping.amounts)
    return make_score("ept_families", grouping, len(parts), parts=parts)


def ept_percent(sample: Sample) -> Score:
    """Return EPT animals as a percentage of all animals whose name is known; None without any."""
    # The share needs no family, so animals named to order count here though not above.
    grouping = group_sample(sample, lambda taxon: "EPT" if taxon.order in EPT_ORDERS else "other")
    why_none = _why_no_percent(grouping)
    if why_none:
        return make_score("ept_percent", grouping, None, why_none=why_none)
    percents = {"EPT": 100.0, "other": 0.0}
    value = tidy(weighted_mean(percents, grouping.amounts))
    return make_score("ept_percent", grouping, value, limits=limits_of_mean(percents, grouping.amounts))


def _why_no_percent(grouping: Grouping) -> str:
    if not grouping.amounts:
        # Unknown names may hide mayflies: saying 0 % would be a guess.
        return NO_ANIMALS if not grouping.left_out else NOT_RECOGNISED
    return why_no_number(grouping.without_number) if grouping.without_number else ""


def ept_family(taxon: Taxon) -> str:
    """Return the family of a mayfly, stonefly or caddisfly, "" of anything else."""
    return taxon.family if taxon.order in EPT_ORDERS else ""
