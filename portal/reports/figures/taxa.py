"""Which taxa were found at a site, quarter by quarter."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from surveys.models import TaxonCount, Visit

QUARTERS = 4
Tally = list[list[int]]


def taxa_by_quarter(visits: Iterable[Visit]) -> list[dict[str, Any]]:
    """Every taxon found at least once: per quarter [visits that found it, visits that looked for it].

    Quarters of the calendar year mean the same on both halves of the globe. A taxon without a line in a visit
    was not looked for there, which is no absence.
    """
    tallies: dict[str, Tally] = defaultdict(lambda: [[0, 0] for _ in range(QUARTERS)])
    for visit in visits:
        found = _found(visit.counts.all())
        for taxon, present in found.items():
            cell = tallies[taxon][(visit.visited_on.month - 1) // 3]
            cell[0] += present
            cell[1] += 1
    return [
        {"taxon": taxon, "quarters": tally}
        for taxon, tally in sorted(tallies.items())
        if any(found for found, _ in tally)
    ]


def _found(counts: Iterable[TaxonCount]) -> dict[str, bool]:
    """Taxon to whether it was there; several lines of one taxon are one finding."""
    found: dict[str, bool] = {}
    for each in counts:
        found[each.taxon] = found.get(each.taxon, False) or each.count != 0
    return found
