"""Which indices a recording list can support, and in words why it cannot support the others."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache

from scoring.indices import METHODS
from scoring.indices.epa import item_of
from scoring.indices.ept import EPT_ORDERS, ept_family
from scoring.indices.grouping import Place, place_in_table
from scoring.sentences import (
    FINER_NAMES,
    LIST_LACKS,
    NO_KNOWN_TAXON,
    NUMBERS_NEEDED,
    OTHERS_LEFT_OUT,
    TOO_FEW_TAXA,
    TOO_WIDE,
    TWO_TAXA,
)
from scoring.tables import read_table
from scoring.taxa import Taxon, all_taxa, roll_up

# Own choice, no source: below it an index says more about the list than about the river.
LEAST_SHARE = 0.5
FAMILY_OR_FINER = frozenset({"family", "subfamily", "tribe", "genus", "species"})


Check = Callable[[Sequence[Taxon]], str]


def supported_indices(list_taxa: Iterable[str], *, with_numbers: bool = True) -> dict[str, str]:
    """Return for each index "" if a list of these names supports it, else the reason in a sentence.

    `with_numbers` False stands for a list on which volunteers tick presence only. Names that no table knows
    support nothing.
    """
    found = (roll_up(name) for name in list_taxa)
    taxa = list({taxon.name: taxon for taxon in found if taxon}.values())
    return {index: _reason(index, taxa, with_numbers) for index in METHODS}


def _reason(index: str, taxa: Sequence[Taxon], with_numbers: bool) -> str:
    if not taxa:
        return NO_KNOWN_TAXON
    if METHODS[index].needs_numbers and not with_numbers:
        return NUMBERS_NEEDED
    return _CHECKS[index](taxa)


def _check_table(table: str) -> Check:
    place = place_in_table(table)
    scored = tuple(row["taxon"] for row in read_table(table))
    return lambda taxa: _too_wide(taxa, place) or _too_few(_placed(taxa, place), scored)


def _check_rating(taxa: Sequence[Taxon]) -> str:
    items = tuple(row["item"] for row in read_table("epa_taxa"))
    # Riffle beetles count only where adults and larvae were told apart: the method says so, and the rest holds.
    wide = [taxon for taxon in taxa if taxon.rank not in FAMILY_OR_FINER]
    return _too_wide(wide, item_of) or _too_few(_placed(taxa, item_of), items)


def _check_bankside(taxa: Sequence[Taxon]) -> str:
    labels = {row["taxon"]: row["label"] for row in read_table("bankside")}
    # A wider name such as "fly larva" hides midges among others, so it counts as missing.
    looked_for = _placed(taxa, place_in_table("bankside"))
    return _missing([label for group, label in labels.items() if group not in looked_for])


def _check_ept_families(taxa: Sequence[Taxon]) -> str:
    families = [taxon for taxon in taxa if ept_family(taxon)]
    return _too_wide(taxa, ept_family) or _missing_orders(families)


def _check_ept_percent(taxa: Sequence[Taxon]) -> str:
    orders = {row["order"] for row in read_table("bmwp")}
    if len(orders & {taxon.order for taxon in taxa}) < LEAST_SHARE * len(orders):
        return OTHERS_LEFT_OUT
    return _missing_orders(taxa)


def _check_diversity(taxa: Sequence[Taxon]) -> str:
    wide = [taxon for taxon in taxa if taxon.rank not in FAMILY_OR_FINER]
    if len(wide) > LEAST_SHARE * len(taxa):
        return FINER_NAMES
    return "" if len(taxa) > 1 else TWO_TAXA


def _missing_orders(taxa: Sequence[Taxon]) -> str:
    return _missing(sorted(EPT_ORDERS - {taxon.order for taxon in taxa}))


def _missing(names: Sequence[str]) -> str:
    return LIST_LACKS.format(names=", ".join(names)) if names else ""


def _placed(taxa: Iterable[Taxon], place: Place) -> set[str]:
    return {place(taxon) for taxon in taxa} - {""}


def _too_few(looked_for: set[str], scored: Sequence[str]) -> str:
    if len(looked_for) >= LEAST_SHARE * len(scored):
        return ""
    return TOO_FEW_TAXA.format(found=len(looked_for), scored=len(scored))


def _too_wide(taxa: Iterable[Taxon], place: Place) -> str:
    """Name the taxa that hide several scoring ones: a mayfly named to order only has no family score."""
    hiding = [taxon.name for taxon in taxa if not place(taxon) and _hidden_below(taxon.name, place)]
    return TOO_WIDE.format(names=", ".join(hiding)) if hiding else ""


@cache
def _hidden_below(name: str, place: Place) -> bool:
    return any(place(taxon) for taxon in all_taxa() if name in taxon.lineage[1:])


_CHECKS: Mapping[str, Check] = {
    **dict.fromkeys(("bmwp", "ntaxa", "aspt"), _check_table("bmwp")),
    **dict.fromkeys(("whpt", "whpt_ntaxa", "whpt_aspt"), _check_table("whpt")),
    "fbi": _check_table("fbi"),
    "epa_volunteer": _check_rating,
    "ept_families": _check_ept_families,
    "ept_percent": _check_ept_percent,
    **dict.fromkeys(("richness", "shannon", "simpson", "pielou"), _check_diversity),
    "bankside": _check_bankside,
}
