"""Taxon counts as occurrences: what was found, and what was looked for and not found."""

from __future__ import annotations

from scoring.taxa import Taxon, find_taxon
from surveys.exporting.darwin.dataset import number_of, urn
from surveys.exporting.darwin.layout import Row
from surveys.exporting.people import Names
from surveys.models import TaxonCount, Visit
from surveys.submission.fields import range_text

# Ranks that have a Latin name; "group" is what people tell apart on the bank, such as snails with a lung.
_LATIN = frozenset(
    {"phylum", "class", "subclass", "order", "suborder", "family", "subfamily", "tribe", "genus", "species"}
)
# Groups whose names are Latin all the same.
_UNRANKED = frozenset({"Hydracarina", "Cladocera"})


def occurrence_rows(visit: Visit, names: Names) -> list[Row]:
    """One row for each line of the count, in its order."""
    people = " | ".join(filter(None, (names.recorder(visit), names.partner(visit))))
    return [_row(visit, count, people) for count in visit.counts.all()]


def _row(visit: Visit, count: TaxonCount, people: str) -> Row:
    return {
        "eventID": urn(visit.pk),
        # By name and not by the row in the database: a correction writes rows anew.
        "occurrenceID": number_of(visit.pk, count.taxon, count.recorded_as, count.whole_tray),
        "basisOfRecord": "HumanObservation",
        "recordedBy": people,
        "kingdom": "Animalia",
        "verbatimIdentification": count.recorded_as or count.taxon,
        "identificationVerificationStatus": "visit checked by a coordinator",
        "identificationRemarks": "worked out with an identification key" if count.by_key else "",
        "occurrenceRemarks": _remarks(visit, count),
        **_amount(count),
        **_name(count.taxon),
    }


def _amount(count: TaxonCount) -> Row:
    if count.count is not None:
        status = "present" if count.count else "absent"
        exact = {"individualCount": count.count, "organismQuantity": count.count}
        return {"occurrenceStatus": status, "organismQuantityType": "individuals", **exact}
    if count.low is None:
        return {"occurrenceStatus": "present"}
    amount = range_text(count.low, count.high)
    return {"occurrenceStatus": "present", "organismQuantity": amount, "organismQuantityType": "individuals"}


def _remarks(visit: Visit, count: TaxonCount) -> str:
    if count.count == 0:
        return "looked for and not found"
    seen = "" if count.count is not None or count.low is not None else "seen, not counted"
    return "; ".join(filter(None, (seen, _part(visit, count))))


def _part(visit: Visit, count: TaxonCount) -> str:
    if count.whole_tray:
        return "picked out of the whole tray"
    return f"counted in {visit.fraction_sorted} of the tray" if visit.fraction_sorted else ""


def _name(name: str) -> Row:
    taxon = find_taxon(name)
    latin = _latin(taxon) if taxon else None
    if taxon is None or latin is None:
        return {"scientificName": name}
    return {
        "scientificName": latin.name,
        "taxonRank": latin.rank if latin.rank in _LATIN else "",
        "order": latin.order if (found := find_taxon(latin.order)) and found.rank == "order" else "",
        "family": latin.family,
    }


def _latin(taxon: Taxon) -> Taxon | None:
    """The taxon, or the nearest above it that has a Latin name."""
    above = (find_taxon(name) for name in taxon.lineage)
    return next((each for each in above if each and (each.rank in _LATIN or each.name in _UNRANKED)), None)
