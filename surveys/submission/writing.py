"""From a saved visit back to a submission and to plain data, and what differs between two."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from surveys.models import Measurement, SpotEffort, TaxonCount, Visit
from surveys.submission.fields import range_text
from surveys.submission.numbers import plain_text
from surveys.submission.placing import position_data
from surveys.submission.timing import timed_data, timed_text
from surveys.submission.types import Entry, Position, Reading, Spot, Submission, Timed

Changes = dict[str, list[Any]]
# What the audit trail keeps for a taxon seen and not counted.
PRESENT = "present"

_TEXTS = (
    "not_made_reason",
    "recorder_name",
    "partner_name",
    "water_level",
    "clarity",
    "weather",
    "weather_past_week",
    "fraction_sorted",
    "pollution_signs",
    "notes",
)


def submission_data(visit: Visit) -> dict[str, Any]:
    """A saved visit as submission data: `parse_submission` reads it back to the same submission."""
    return as_data(submission_of(visit))


def flat_data(visit: Visit) -> dict[str, Any]:
    """A saved visit field by field, under the paths that the audit trail uses; blanks are left out."""
    return dict(_flat(submission_of(visit)))


def submission_of(visit: Visit) -> Submission:
    """A saved visit as a Submission (four queries and one more for each spot, unless prefetched)."""
    return Submission(
        id=visit.pk,
        site=visit.site_id,
        visited_on=visit.visited_on,
        was_made=visit.was_made,
        started_at=visit.started_at,
        ended_at=visit.ended_at,
        recorder=visit.recorder_id,
        partner=visit.partner_id,
        kit=visit.kit_id,
        position=position_of(visit),
        checklist_done=visit.checklist_done,
        checklist_at=visit.checklist_at,
        spots=tuple(map(_spot, visit.spots.all())),
        measurements=tuple(map(_reading, sorted(visit.measurements.all(), key=lambda each: each.pk))),
        counts=tuple(map(_entry, visit.counts.all())),
        **{name: getattr(visit, name) for name in _TEXTS},
    )


def position_of(visit: Visit) -> Position | None:
    """Where the visit was made, if that was confirmed."""
    if visit.position_latitude is None or visit.position_longitude is None:
        return None
    return Position(
        visit.position_latitude, visit.position_longitude, visit.position_accuracy_m, visit.position_source
    )


def _spot(row: SpotEffort) -> Spot:
    timed = tuple(Timed(kick.started_at, kick.seconds) for kick in row.timed.all())
    return Spot(row.number, row.kicks, row.seconds, row.flow_type, row.depth_cm, timed)


def _reading(row: Measurement) -> Reading:
    return Reading(row.quantity, row.value, row.unit, row.as_typed, row.is_below_limit)


def _entry(row: TaxonCount) -> Entry:
    return Entry(row.taxon, row.recorded_as, row.count, row.low, row.high, row.whole_tray, row.by_key)


def as_data(submission: Submission) -> dict[str, Any]:
    """A submission as JSON-like plain data with text values, blank where nothing was recorded."""
    return {
        "id": str(submission.id),
        "site": str(submission.site),
        "was_made": submission.was_made,
        "visited_on": submission.visited_on.isoformat(),
        "started_at": _clock(submission.started_at),
        "ended_at": _clock(submission.ended_at),
        "recorder": str(submission.recorder or ""),
        "partner": str(submission.partner or ""),
        "kit": str(submission.kit or ""),
        **position_data(submission.position),
        "checklist_done": submission.checklist_done,
        "checklist_at": _clock(submission.checklist_at),
        **{name: getattr(submission, name) for name in _TEXTS},
        "spots": [_spot_data(spot) for spot in submission.spots],
        "measurements": {
            each.quantity: {"value": each.as_typed, "unit": each.unit} for each in submission.measurements
        },
        "counts": [_entry_data(entry) for entry in submission.counts],
    }


def _clock(moment: Any) -> str:
    return moment.strftime("%H:%M") if moment else ""


def _number(value: Decimal | None) -> str:
    return "" if value is None else plain_text(value)


def _spot_data(spot: Spot) -> dict[str, Any]:
    data: dict[str, Any] = {
        "number": spot.number,
        "flow_type": spot.flow_type,
        "kicks": spot.kicks,
        "seconds": _number(spot.seconds),
        "depth_cm": _number(spot.depth_cm),
    }
    return data | {"timed": timed_data(spot.timed)} if spot.timed else data


def _entry_data(entry: Entry) -> dict[str, Any]:
    data = {"taxon": entry.taxon, "recorded_as": entry.recorded_as, **_amount_data(entry)}
    return data | {mark: True for mark in ("whole_tray", "by_key") if getattr(entry, mark)}


def _amount_data(entry: Entry) -> dict[str, Any]:
    if entry.count is not None:
        return {"count": str(entry.count)}
    return {"range": range_text(entry.low, entry.high)} if entry.low else {"present": True}


def differences(before: Submission, after: Submission) -> Changes:
    """What changed, as {field path: [old, new]}; None stands for "not recorded"."""
    # Field by field rather than row by row: the audit trail shall say what was changed, no more.
    old, new = dict(_flat(before)), dict(_flat(after))
    paths = dict.fromkeys([*old, *new])
    return {path: [old.get(path), new.get(path)] for path in paths if old.get(path) != new.get(path)}


def _flat(submission: Submission) -> Iterator[tuple[str, Any]]:
    data = as_data(submission)
    nested = {"spots", "measurements", "counts"}
    yield from ((key, value) for key, value in data.items() if key not in nested and value != "")
    for spot, row in zip(submission.spots, data["spots"], strict=True):
        values = {key: value for key, value in row.items() if key not in ("number", "timed") and value != ""}
        yield from ((f"{spot.field}.{key}", value) for key, value in values.items())
        if spot.timed:
            yield f"{spot.field}.timed", timed_text(spot.timed)
    for reading in submission.measurements:
        # By value, since "7,4" and "7.40" are the same reading.
        limit = "<" if reading.is_below_limit else ""
        yield reading.field, f"{limit}{plain_text(reading.value)} {reading.unit}"
    for entry, row in zip(submission.counts, data["counts"], strict=True):
        yield entry.field, row.get("range") or row.get("count") or PRESENT
        if entry.recorded_as:
            yield f"{entry.field}.taxon", entry.taxon
        if entry.by_key:
            yield f"{entry.field}.by_key", True
