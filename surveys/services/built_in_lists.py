"""The recording lists that are built in: families, and six broad groups for the bankside."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils.translation import gettext_noop

from scoring.tables import read_table
from scoring.taxa import find_taxon
from surveys.models import ListTaxon, RecordingList

FAMILY_SLUG = "family"
BANKSIDE_SLUG = "bankside"
BUILT_IN_VERSION = 1
SIDES = {
    "sensitive": gettext_noop("Sensitive to pollution"),
    "tolerant": gettext_noop("Tolerant of pollution"),
}

# Sections in the order of the sheet: the scoring table's orders, with the words people use at the tray.
# Kept in English in the database and translated where they are shown.
SECTIONS = {
    "Ephemeroptera": gettext_noop("Mayfly nymphs (Ephemeroptera)"),
    "Plecoptera": gettext_noop("Stonefly nymphs (Plecoptera)"),
    "Trichoptera": gettext_noop("Caddisfly larvae (Trichoptera)"),
    "Odonata": gettext_noop("Dragonfly and damselfly nymphs (Odonata)"),
    "Hemiptera": gettext_noop("Water bugs (Hemiptera)"),
    "Coleoptera": gettext_noop("Beetles and their larvae (Coleoptera)"),
    "Megaloptera": gettext_noop("Alderfly larvae (Megaloptera)"),
    "Diptera": gettext_noop("Fly larvae (Diptera)"),
    "Amphipoda": gettext_noop("Shrimps (Amphipoda)"),
    "Isopoda": gettext_noop("Water lice (Isopoda)"),
    "Decapoda": gettext_noop("Crayfish (Decapoda)"),
    "Gastropoda": gettext_noop("Snails and limpets (Gastropoda)"),
    "Bivalvia": gettext_noop("Mussels (Bivalvia)"),
    "Hirudinea": gettext_noop("Leeches (Hirudinea)"),
    "Tricladida": gettext_noop("Flatworms (Tricladida)"),
    "Oligochaeta": gettext_noop("Worms (Oligochaeta)"),
}


def family_rows() -> list[dict[str, Any]]:
    """The lines of the built-in list: the taxa of the BMWP table by section, each with its English name."""
    # By section, and within it as the table has it, from the most sensitive family down.
    places = list(SECTIONS)
    table = sorted(read_table("bmwp"), key=lambda row: places.index(row["order"]))
    return [
        {
            "position": position,
            "taxon": row["taxon"],
            "label": _english(row["taxon"]),
            "section": SECTIONS[row["order"]],
        }
        for position, row in enumerate(table, start=1)
    ]


def _english(name: str) -> str:
    taxon = find_taxon(name)
    return taxon.english.capitalize() if taxon else ""


def bankside_rows() -> list[dict[str, Any]]:
    """The lines of the built-in list of broad groups, those sensitive to pollution first."""
    return [
        {
            "position": position,
            "taxon": row["taxon"],
            "label": row["label"].capitalize(),
            "section": SIDES[row["side"]],
        }
        for position, row in enumerate(read_table("bankside"), start=1)
    ]


def ensure_family_list(
    lists: type[RecordingList] = RecordingList, taxa: type[ListTaxon] = ListTaxon
) -> RecordingList:
    """The built-in list of families, made if it is not there. A migration gives its own state of the models."""
    about = {"name": gettext_noop("Families of the BMWP table"), "level": "family"}
    return _ensure(lists, taxa, FAMILY_SLUG, about, family_rows())


def ensure_bankside_list(
    lists: type[RecordingList] = RecordingList, taxa: type[ListTaxon] = ListTaxon
) -> RecordingList:
    """The built-in list of six broad groups, made if it is not there."""
    about = {"name": gettext_noop("Bankside list of six groups"), "level": "group"}
    return _ensure(lists, taxa, BANKSIDE_SLUG, about, bankside_rows())


def _ensure(
    lists: type[RecordingList],
    taxa: type[ListTaxon],
    slug: str,
    about: dict[str, Any],
    rows: list[dict[str, Any]],
) -> RecordingList:
    # The list and its lines together: half a list would look like a whole one.
    with transaction.atomic():
        found, is_new = lists.objects.get_or_create(
            group=None, slug=slug, version=BUILT_IN_VERSION, defaults=about
        )
        if is_new:
            taxa.objects.bulk_create(taxa(recording_list=found, **row) for row in rows)
    return found
