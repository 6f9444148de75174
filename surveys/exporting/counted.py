"""Taxon counts, one row each, in the columns of an import: what is exported so can be loaded again."""

from __future__ import annotations

from collections.abc import Iterator

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.exporting.people import Names
from surveys.exporting.queries import in_chunks, most_spots
from surveys.exporting.tables import Cell, Record, Table
from surveys.exporting.visit_cells import amount_cell, visit_cells, visit_columns
from surveys.models import TaxonCount, Visit


def counts_table(group: Group, visits: GroupOwnedQuerySet[Visit], names: Names) -> Table:
    """One row for each taxon of each visit; a visit without any has one row with no taxon."""
    header = ("site", "date", "taxon", "count", "whole_tray", *visit_columns(most_spots(group)))
    records = (each for visit in in_chunks(visits) for each in _records(visit, names, header))
    return Table("counts", header, records)


def _records(visit: Visit, names: Names, header: tuple[str, ...]) -> Iterator[Record]:
    common: dict[str, Cell] = {"site": visit.site.code, "date": visit.visited_on, **visit_cells(visit, names)}
    place = (visit.site.longitude, visit.site.latitude)
    counts: list[dict[str, Cell]] = [_count_cells(each) for each in visit.counts.all()]
    for counted in counts or [{}]:
        cells = common | counted
        yield Record(tuple(cells.get(name) for name in header), place)


def _count_cells(counted: TaxonCount) -> dict[str, Cell]:
    return {
        "taxon": counted.recorded_as or counted.taxon,
        "count": amount_cell(counted),
        "whole_tray": "yes" if counted.whole_tray else None,
    }
