"""The two tables of open data: no free text, no positions of phones, no hazards, no names of people."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Q

from scoring.indices import METHODS
from surveys.exporting.darwin.archive import publishable
from surveys.exporting.darwin.dataset import Dataset
from surveys.exporting.queries import in_chunks
from surveys.exporting.tables import Cell, Record, Table
from surveys.exporting.visit_cells import amount_cell
from surveys.exporting.visited import score_cells
from surveys.models import Visit

PLACE = ("latitude", "longitude", "coordinate_uncertainty_m")
COMMON = ("visit", "site", "river", "date")
RESULTS = (
    *COMMON,
    *PLACE,
    "recording_list",
    "recording_list_version",
    "kicks",
    "kicking_seconds",
    "taxa_found",
)
# A place is only for map files, and these are none.
NOWHERE = (0.0, 0.0)
TAXA = (*COMMON, "taxon", "count", "whole_tray", "fraction_sorted")


def results_table(dataset: Dataset) -> Table:
    """One row for each approved visit that was made, with each score, its bounds and the method's version."""
    scores = tuple(f"{index}{part}" for index in METHODS for part in ("", "_lowest", "_highest", "_version"))
    header = (*RESULTS, *scores)
    return Table("results", header, (_result(visit, dataset, header) for visit in _visits(dataset)))


def taxa_table(dataset: Dataset) -> Table:
    """One row for each taxon of each of these visits."""
    return Table("taxa", TAXA, (each for visit in _visits(dataset) for each in _taxa(visit)))


def _visits(dataset: Dataset) -> Iterator[Visit]:
    return in_chunks(publishable(dataset.group, Q()))


def _common(visit: Visit) -> dict[str, Cell]:
    return {
        "visit": str(visit.pk),
        "site": visit.site.code,
        "river": visit.site.river,
        "date": visit.visited_on,
        "fraction_sorted": visit.fraction_sorted,
    }


def _result(visit: Visit, dataset: Dataset, header: tuple[str, ...]) -> Record:
    place, spots = dataset.place_of(visit.site), list(visit.spots.all())
    cells: dict[str, Cell] = {
        **_common(visit),
        **dict(zip(PLACE, (place.latitude, place.longitude, place.uncertainty_m), strict=True)),
        "recording_list": visit.recording_list.slug,
        "recording_list_version": visit.recording_list.version,
        "kicks": sum(spot.kicks for spot in spots) if spots else None,
        "kicking_seconds": sum(spot.seconds for spot in spots) if spots else None,
        "taxa_found": len({each.taxon for each in visit.counts.all() if each.count != 0}),
        **score_cells(visit),
    }
    return Record(tuple(cells.get(name) for name in header), NOWHERE, str(visit.pk))


def _taxa(visit: Visit) -> Iterator[Record]:
    common = _common(visit)
    for each in visit.counts.all():
        cells: dict[str, Cell] = {
            **common,
            "taxon": each.taxon,
            "count": amount_cell(each),
            "whole_tray": "yes" if each.whole_tray else None,
        }
        yield Record(tuple(cells.get(name) for name in TAXA), NOWHERE, str(visit.pk))
