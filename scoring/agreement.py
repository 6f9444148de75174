"""How well two counts of one site and day agree: replicate samples, or one tray counted by two people."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from scoring.indices import METHODS, score_sample
from scoring.samples import Count, Sample, read_sample
from scoring.sentences import NO_ANIMALS, NOT_COMPARABLE
from scoring.tables import read_table
from scoring.taxa import find_taxon

Numbers = Mapping[str, float]


@dataclass(frozen=True)
class Threshold:
    """What a measure has to reach, with its source; `at_least` False: it must not be above `limit`."""

    measure: str
    limit: float
    at_least: bool
    source: str
    status: str

    def accepts(self, value: float) -> bool:
        """True at the limit and on its good side."""
        return value >= self.limit if self.at_least else value <= self.limit


@dataclass(frozen=True)
class ScoreDifference:
    """Two scores of one index; `difference` is second less first, `percent` the relative percent difference."""

    first: float
    second: float
    difference: float
    percent: float | None


@dataclass(frozen=True)
class Agreement:
    """Agreement of two counts: `measures` by name of the threshold they are held against, in percent.

    `is_estimate` marks measures that rest on stand-ins for ranges or on a sorted share. Without numbers, or
    without animals, there are no measures and `why_none` says why; scores that need none are compared still.
    """

    measures: Mapping[str, float]
    scores: Mapping[str, ScoreDifference]
    is_estimate: bool = False
    why_none: str = ""

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of the measures that miss their threshold."""
        return tuple(name for name, value in self.measures.items() if not THRESHOLDS[name].accepts(value))


@dataclass(frozen=True)
class YearOfAgreement:
    """Agreement over several pairs: medians of the measures, and the share of pairs (0 to 1) accepted.

    `score_differences` holds the median of the differences of each index, without their sign.
    """

    pairs: int
    medians: Mapping[str, float]
    accepted: Mapping[str, float]
    score_differences: Mapping[str, float]


def compare_counts(first: Iterable[Count], second: Iterable[Count]) -> Agreement:
    """Return the agreement of two counts; names that mean one taxon are taken together."""
    lines = list(first), list(second)
    samples = [read_sample(map(_named_alike, counts)) for counts in lines]
    scores = _score_differences(*lines)
    is_estimate = not all(amount.is_exact for sample in samples for amount in sample.values())
    why_none = _why_none(samples)
    if why_none:
        return Agreement({}, scores, is_estimate, why_none)
    return Agreement(_measures(*map(_numbers, samples)), scores, is_estimate)


def summarise(agreements: Sequence[Agreement]) -> YearOfAgreement:
    """Return the figures of a year's pairs, over those pairs that have the measure."""
    found = {name: [pair.measures[name] for pair in agreements if name in pair.measures] for name in THRESHOLDS}
    measured = {name: values for name, values in found.items() if values}
    accepted = {name: sum(map(THRESHOLDS[name].accepts, values)) for name, values in measured.items()}
    return YearOfAgreement(
        len(agreements),
        {name: median(values) for name, values in measured.items()},
        {name: accepted[name] / len(values) for name, values in measured.items()},
        _median_differences(agreements),
    )


def _median_differences(agreements: Sequence[Agreement]) -> dict[str, float]:
    found = {index: [pair.scores[index] for pair in agreements if index in pair.scores] for index in METHODS}
    return {index: median(abs(one.difference) for one in pairs) for index, pairs in found.items() if pairs}


def percent_similarity(first: Numbers, second: Numbers) -> float:
    """Return 100 x the sum of the lesser share of each taxon (Renkonen 1938; Whittaker 1952)."""
    totals = [_total(numbers) for numbers in (first, second)]
    shared = first.keys() & second.keys()
    # Sorted, because a set has no order and sums of fractions depend on theirs.
    return 100 * math.fsum(min(first[name] / totals[0], second[name] / totals[1]) for name in sorted(shared))


def taxonomic_disagreement(first: Numbers, second: Numbers) -> float:
    """Return 100 x (1 - animals named alike / animals of the larger count) (Stribling et al. 2003)."""
    alike = math.fsum(min(first[name], second[name]) for name in sorted(first.keys() & second.keys()))
    return 100 * (1 - alike / max(_total(first), _total(second)))


def enumeration_difference(first: float, second: float) -> float:
    """Return 100 x the difference of two total counts over their sum (Stribling et al. 2003)."""
    if first < 0 or second < 0 or first + second == 0:
        raise ValueError("counts are 0 or more, and one is above 0")
    return 100 * abs(first - second) / (first + second)


def relative_percent_difference(first: float, second: float) -> float | None:
    """Return 100 x the difference over the mean; None where the mean is not above 0."""
    mean = (first + second) / 2
    return 100 * abs(first - second) / mean if mean > 0 else None


def sorting_efficiency(found_first: int, found_again: int) -> float:
    """Return the percentage of a tray's animals that the first sorting found; the second found the rest."""
    if min(found_first, found_again) < 0 or found_first + found_again == 0:
        raise ValueError("numbers of animals are 0 or more, and one is above 0")
    return 100 * found_first / (found_first + found_again)


def _measures(first: Numbers, second: Numbers) -> dict[str, float]:
    return {
        "percent_similarity": percent_similarity(first, second),
        "taxonomic_disagreement": taxonomic_disagreement(first, second),
        "enumeration_difference": enumeration_difference(_total(first), _total(second)),
    }


def _score_differences(first: Iterable[Count], second: Iterable[Count]) -> dict[str, ScoreDifference]:
    one, other = score_sample(first), score_sample(second)
    pairs = {index: (one[index].value, other[index].value) for index in METHODS}
    return {index: _difference(a, b) for index, (a, b) in pairs.items() if a is not None and b is not None}


def _difference(first: float, second: float) -> ScoreDifference:
    return ScoreDifference(first, second, second - first, relative_percent_difference(first, second))


def _named_alike(count: Count) -> Count:
    # One person's "mayfly" is the other's "Ephemeroptera": a habit of naming is no disagreement.
    taxon = find_taxon(count.taxon)
    name = taxon.name if taxon else count.taxon
    return Count(name, count.count, count.low, count.high, count.fraction)


def _why_none(samples: Sequence[Sample]) -> str:
    if any(amount.number is None for sample in samples for amount in sample.values()):
        return NOT_COMPARABLE
    return "" if all(samples) else NO_ANIMALS


def _numbers(sample: Sample) -> Numbers:
    return {name: amount.number or 0.0 for name, amount in sample.items()}


def _total(numbers: Numbers) -> float:
    total = math.fsum(numbers.values())
    if total <= 0:
        raise ValueError("a count needs at least one animal")
    return total


THRESHOLDS: Mapping[str, Threshold] = {
    row["measure"]: Threshold(
        row["measure"], float(row["limit"]), row["side"] == "at least", row["source"], row["status"]
    )
    for row in read_table("agreement")
}
