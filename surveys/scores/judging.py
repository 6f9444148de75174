"""What of a visit is handed to `scoring`: lines by the finest known name, with their share of the tray."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache

from scoring.samples import Count
from scoring.taxa import find_taxon, roll_up
from surveys.models import TaxonCount, Visit
from surveys.submission.types import Entry

# The version of a score that no method made, because the visit's list cannot support the index.
NO_METHOD = ""
# A line of a count, as submitted or as saved.
Line = Entry | TaxonCount


def counts_of(visit: Visit, lines: Iterable[Line]) -> list[Count]:
    """The lines of a visit as scoring reads them: what was found in a share of the tray knows that share."""
    return read_counts(lines, visit.fraction_sorted)


def read_counts(lines: Iterable[Line], fraction_sorted: str) -> list[Count]:
    """The same for the fraction of the tray that was sorted, such as "1/4"; blank is all of it."""
    share = share_of(fraction_sorted)
    return [
        Count(scored_name(each), each.count, each.low, each.high, 1.0 if each.whole_tray else share)
        for each in lines
    ]


def share_of(fraction_sorted: str) -> float:
    """The fraction sorted as a number: "1/4" is 0.25, blank is the whole tray."""
    return float(Fraction(fraction_sorted)) if fraction_sorted else 1.0


def scored_name(entry: Line) -> str:
    """The finest name that scoring knows: a genus or species counts as a taxon of its own for diversity."""
    return finest_name(entry.taxon, entry.recorded_as)


@lru_cache(maxsize=10_000)
def finest_name(taxon: str, finer: str) -> str:
    """The same for the taxon and the name it was recorded as, blank for none."""
    # A synonym or an English name says no more than the taxon itself.
    if not finer or find_taxon(finer):
        return taxon
    # Free text beside a chosen taxon ("the brown ones") is kept, but nothing is scored by it.
    known = roll_up(finer)
    return finer if known and known.name == taxon else taxon
