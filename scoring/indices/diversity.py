"""Richness and diversity over all taxa as recorded: every recorded name is a taxon, known or not."""

import math
from collections.abc import Sequence

from scoring.indices.bounds import Measure, limits_of_diversity
from scoring.indices.grouping import Grouping
from scoring.indices.results import Score, make_score, tidy, why_no_number
from scoring.samples import Sample
from scoring.sentences import NO_ANIMALS, ONE_TAXON


def shannon_of(numbers: Sequence[float]) -> float:
    """Return H' = -sum p ln p of counts above 0 (natural logarithm)."""
    total = math.fsum(numbers)
    # abs, because one taxon alone would give -0.0.
    return abs(math.fsum(number / total * math.log(number / total) for number in numbers))


def simpson_of(numbers: Sequence[float]) -> float:
    """Return 1 - sum p^2 of counts above 0 (the complement form, without correction for small samples)."""
    total = math.fsum(numbers)
    return 1 - math.fsum((number / total) ** 2 for number in numbers)


def richness(sample: Sample) -> Score:
    """Return the number of taxa as recorded."""
    return make_score("richness", _all_used(sample), len(sample))


def shannon(sample: Sample) -> Score:
    """Return Shannon's H' with the natural logarithm; None for an empty sample or an unknown number."""
    return _score("shannon", sample, shannon_of)


def simpson(sample: Sample) -> Score:
    """Return Simpson's 1 - sum p^2; None for an empty sample or an unknown number."""
    return _score("simpson", sample, simpson_of)


def pielou(sample: Sample) -> Score:
    """Return H' / ln S; None with fewer than two taxa or an unknown number."""
    if len(sample) == 1:
        return _no_score("pielou", sample, ONE_TAXON)
    # An empty sample is refused further on; the 1.0 only keeps ln 0 away.
    most = math.log(len(sample)) if sample else 1.0
    return _score("pielou", sample, lambda numbers: shannon_of(numbers) / most)


def _score(index: str, sample: Sample, measure: Measure) -> Score:
    unknown = [name for name, amount in sample.items() if amount.number is None]
    if unknown or not sample:
        return _no_score(index, sample, why_no_number(unknown) if unknown else NO_ANIMALS)
    amounts = list(sample.values())
    value = tidy(measure([amount.number or 0.0 for amount in amounts]))
    return make_score(index, _all_used(sample), value, limits=limits_of_diversity(measure, amounts))


def _no_score(index: str, sample: Sample, why_none: str) -> Score:
    return make_score(index, Grouping({}, (), tuple(sample)), None, why_none=why_none)


def _all_used(sample: Sample) -> Grouping:
    return Grouping(sample, tuple(sample), ())
