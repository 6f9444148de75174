"""Visits, one row each, and their scores, one row for each index."""

from __future__ import annotations

from collections.abc import Iterator

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from scoring.indices import METHODS
from surveys.exporting.cells import as_json
from surveys.exporting.people import Names
from surveys.exporting.queries import in_chunks, most_spots
from surveys.exporting.tables import Cell, Record, Table
from surveys.exporting.visit_cells import amount_cell, visit_cells, visit_columns
from surveys.models import Visit, VisitScore
from surveys.texts.told import told
from surveys.visits.sheets import scores_of

_LEADING = ("site", "date", "site_name", "river", "latitude", "longitude", "status", "made")
_CLOSING = (
    "recording_list",
    "recording_list_version",
    "kit",
    "checklist_done",
    "kicks",
    "kicking_seconds",
    "taxa_found",
    "source",
    "loaded_later",
    "submitted_at",
    "checked_at",
)
_OF_SCORE = ("", "_lowest", "_highest", "_version")
SCORES_HEADER = (
    "site",
    "date",
    "visit",
    "status",
    "index",
    "value",
    "lowest",
    "highest",
    "version",
    "why_none",
    "left_out",
)


def visits_table(group: Group, visits: GroupOwnedQuerySet[Visit], names: Names) -> Table:
    """One row for each visit with everything but its counts; these go along in a map file."""
    scores = tuple(f"{index}{part}" for index in METHODS for part in _OF_SCORE)
    header = (*_LEADING, *visit_columns(most_spots(group)), *_CLOSING, *scores)
    return Table("visits", header, (_record(visit, names, header) for visit in in_chunks(visits)))


def _record(visit: Visit, names: Names, header: tuple[str, ...]) -> Record:
    cells = {**_leading(visit), **visit_cells(visit, names), **_closing(visit), **score_cells(visit)}
    counts = [
        {"taxon": each.recorded_as or each.taxon, "count": as_json(amount_cell(each))}
        for each in visit.counts.all()
    ]
    place = (visit.site.longitude, visit.site.latitude)
    return Record(tuple(cells.get(name) for name in header), place, str(visit.pk), {"counts": counts})


def _leading(visit: Visit) -> dict[str, Cell]:
    site = visit.site
    return {
        "site": site.code,
        "date": visit.visited_on,
        "site_name": site.name,
        "river": site.river,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "status": visit.status,
        "made": visit.was_made,
    }


def _closing(visit: Visit) -> dict[str, Cell]:
    spots = list(visit.spots.all())
    return {
        "recording_list": visit.recording_list.slug,
        "recording_list_version": visit.recording_list.version,
        "kit": visit.kit.name if visit.kit else None,
        "checklist_done": visit.checklist_done,
        "kicks": sum(spot.kicks for spot in spots) if spots else None,
        "kicking_seconds": sum(spot.seconds for spot in spots) if spots else None,
        "taxa_found": len({each.taxon for each in visit.counts.all() if each.count != 0}),
        "source": visit.source,
        "loaded_later": visit.is_past_record,
        "submitted_at": visit.submitted_at,
        "checked_at": visit.reviewed_at,
    }


def score_cells(visit: Visit) -> dict[str, Cell]:
    """The scores of a visit by column: value, bounds where it is uncertain, and version."""
    cells: dict[str, Cell] = {}
    for score in scores_of(visit):
        values = (score.value, *_span(score), score.version)
        cells |= {f"{score.index}{part}": value for part, value in zip(_OF_SCORE, values, strict=True)}
    return cells


def _span(score: VisitScore) -> tuple[float | None, float | None]:
    """Lowest and highest, where the record leaves more than one value open."""
    is_open = score.low is not None and score.low != score.high
    return (score.low, score.high) if is_open else (None, None)


def scores_table(visits: GroupOwnedQuerySet[Visit]) -> Table:
    """One row for each index of each visit that was made, with the reason where it has no value."""
    return Table(
        "scores", SCORES_HEADER, (each for visit in in_chunks(visits) for each in _score_records(visit))
    )


def _score_records(visit: Visit) -> Iterator[Record]:
    by_index = {score.index: score for score in scores_of(visit)}
    for score in (by_index[index] for index in METHODS if index in by_index):
        cells: tuple[Cell, ...] = (
            visit.site.code,
            visit.visited_on,
            str(visit.pk),
            visit.status,
            score.index,
            score.value,
            *_span(score),
            score.version,
            told(score.why_none),
            "; ".join(str(name) for name in score.left_out),
        )
        yield Record(cells, (visit.site.longitude, visit.site.latitude))
