"""The tables with which a phone works out a score while the tray is still being counted.

What is built here is plain data for the script `provisional-score.js`. Nothing is decided here: values, names
and places of taxa are those that the indices themselves use, and a test holds the script to them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from statistics import NormalDist
from typing import Any

from scoring.indices import METHODS, bankside, bmwp, ept, whpt
from scoring.indices.grouping import Place, place_in_table
from scoring.samples import ABUNDANCE_RANGES, stand_in
from scoring.subsampling import CONFIDENCE
from scoring.tables import read_table, split_names
from scoring.taxa import JOINING_WORDS, QUALIFIERS, STAGE_WORDS, Taxon, all_taxa, name_key

Table = dict[str, Any]

# The indices that the script can work out, and the table that each of them reads.
TABLE_OF = {
    "bmwp": "bmwp",
    "ntaxa": "bmwp",
    "aspt": "bmwp",
    "whpt": "whpt",
    "whpt_ntaxa": "whpt",
    "whpt_aspt": "whpt",
    "ept_families": "ept",
    "bankside": "bankside",
}


def provisional_tables(indices: Iterable[str]) -> Table:
    """Return what the script needs for those of `indices` that it knows, as data that JSON can hold.

    `decimals` has the indices in the order given; `tables` the values of the scoring taxa and, under `joined`,
    the taxa that are scored as another one; `taxa` each known taxon with its other names; `genera` each family
    with its genera and the like; `ranges` [low, high, number taken]; `spread` the squared normal deviate of the
    limits of a share.
    """
    known = [index for index in indices if index in TABLE_OF]
    return {
        "decimals": {index: METHODS[index].decimals for index in known},
        "tables": {table: _tables()[table] for table in dict.fromkeys(TABLE_OF[index] for index in known)},
        "taxa": _names(),
        "genera": _genera(),
        "words": sorted(JOINING_WORDS | QUALIFIERS | STAGE_WORDS),
        "ranges": [[low, high, stand_in(low, high)] for low, high in ABUNDANCE_RANGES],
        "spread": NormalDist().inv_cdf((1 + CONFIDENCE) / 2) ** 2,
        "openRange": bankside.OPEN_RANGE,
    }


@cache
def _tables() -> Mapping[str, Table]:
    families = {family: 1 for taxon in all_taxa() if (family := ept.ept_family(taxon))}
    return {
        "bmwp": _table(bmwp.points(), place_in_table("bmwp")),
        "whpt": _table(whpt.range_values(), place_in_table("whpt")),
        "bankside": _table(bankside.weights(), place_in_table("bankside")),
        "ept": _table(families, ept.ept_family),
    }


def _table(values: Mapping[str, Any], place: Place) -> Table:
    return {"values": dict(values), "joined": dict(_joined(place))}


def _joined(place: Callable[[Taxon], str]) -> Iterable[tuple[str, str]]:
    for taxon in all_taxa():
        target = place(taxon)
        if target and target != taxon.name:
            yield taxon.name, target


@cache
def _names() -> Mapping[str, list[str]]:
    return {taxon.name: sorted(_other_keys(taxon)) for taxon in all_taxa()}


def _other_keys(taxon: Taxon) -> set[str]:
    names = filter(None, (taxon.english, *taxon.synonyms))
    return {name_key(name) for name in names} - {name_key(taxon.name)}


@cache
def _genera() -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in read_table("genera"):
        keys = map(name_key, (row["genus"], *split_names(row["synonyms"])))
        found.setdefault(row["family"], []).extend(keys)
    return found
