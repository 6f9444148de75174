"""What was found at a visit beside what its site usually holds."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from scoring.samples import amount_of
from surveys.models import TaxonCount, Visit
from surveys.queries import HistoryPoint
from surveys.scores.judging import counts_of

# A taxon found in at least two of three baseline visits is called usual (common practice, no source).
USUAL_SHARE = 2 / 3
Limits = tuple[float, float]


@dataclass(frozen=True)
class FoundRow:
    """A taxon: how many this time, the usual number and in how many of the baseline visits it was found."""

    taxon: str
    now: str
    usual: str
    times_found: int
    of_visits: int
    is_missing: bool


def found_rows(visit: Visit, usual: Sequence[HistoryPoint]) -> list[FoundRow]:
    """Taxa found now or usual at the site, the missing ones first, then by the order of the record."""
    now = _limits_by_taxon(visit.counts.all())
    before = _by_visit([each.visit_id for each in usual])
    taxa = list(dict.fromkeys([*now, *_all_taxa(before)]))
    rows = [_row(taxon, now.get(taxon, (0, 0)), before, len(usual)) for taxon in taxa]
    worth_showing = [row for row in rows if row.now or row.is_missing]
    return sorted(worth_showing, key=lambda row: not row.is_missing)


def _row(taxon: str, now: Limits, before: dict[object, dict[str, Limits]], visits: int) -> FoundRow:
    earlier = [taxa.get(taxon, (0, 0)) for taxa in before.values()]
    # A visit without any count row still counts as one in which the taxon was not found.
    earlier += [(0, 0)] * (visits - len(earlier))
    times = sum(low > 0 for low, _high in earlier)
    is_usual = visits > 0 and times / visits >= USUAL_SHARE
    usual = (median(low for low, _high in earlier), median(high for _low, high in earlier)) if earlier else None
    return FoundRow(
        taxon=taxon,
        now=amount_words(*now) if now[0] else "",
        usual=amount_words(*usual) if usual else "",
        times_found=times,
        of_visits=visits,
        is_missing=is_usual and not now[0],
    )


def amount_words(low: float, high: float) -> str:
    """An amount between two limits: "12", "10–99" or "1,000+"; a range is never turned into a number."""
    if low == high:
        return f"{low:,.10g}"
    return f"{low:,.10g}+" if math.isinf(high) else f"{low:,.10g}–{high:,.10g}"


def _by_visit(visit_ids: Iterable[object]) -> dict[object, dict[str, Limits]]:
    counts: dict[object, list[TaxonCount]] = defaultdict(list)
    found = TaxonCount.objects.across_groups("visits of one site, picked by the caller")
    for each in found.filter(visit_id__in=list(visit_ids)).select_related("visit"):
        counts[each.visit_id].append(each)
    return {visit_id: _limits_by_taxon(rows) for visit_id, rows in counts.items()}


def _limits_by_taxon(counts: Iterable[TaxonCount]) -> dict[str, Limits]:
    """Lowest and highest number of each taxon in the whole tray, its lines added up."""
    limits: dict[str, Limits] = {}
    for each in counts:
        low, high = limits.get(each.taxon, (0.0, 0.0))
        least, most = _limits(each)
        limits[each.taxon] = (low + least, high + most)
    return limits


def _limits(count: TaxonCount) -> Limits:
    (line,) = counts_of(count.visit, [count])
    amount = amount_of(line)
    return float(amount.fewest), float(amount.most)


def _all_taxa(before: dict[object, dict[str, Limits]]) -> list[str]:
    return [taxon for taxa in before.values() for taxon in taxa]
