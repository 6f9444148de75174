"""From nested plain data to a Submission, or to problems that name their fields."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from typing import Any

from django.utils import timezone
from rest_framework.serializers import ValidationError

from surveys.submission.placing import POSITION_FIELDS
from surveys.submission.serializers import SubmissionSerializer
from surveys.submission.types import Entry, InvalidSubmission, Problem, Reading, Spot, Submission

# What the fields call their failures, as the id of the rule that explains it; all else is "unreadable".
_RULES = {
    "required": "missing",
    "null": "missing",
    "blank": "missing",
    "unknown_taxon": "unknown_taxon",
    "fraction": "fraction_sorted",
    "more_than_all": "fraction_sorted",
    "count_at_odds": "count_at_odds",
    "unknown_quantity": "unknown_quantity",
    "unknown_unit": "unknown_unit",
}
_NESTED = ("spots", "measurements", "counts")


def parse_submission(data: Mapping[str, Any]) -> Submission:
    """Read a submission; raises InvalidSubmission with every field that cannot be read."""
    # A printed list has many lines and a visit fills few: blank ones are no statement at all.
    filled = without_blanks(data)
    try:
        return _build(dict(_readers.kept.run_validation(filled)))
    except ValidationError:
        # Read anew for its words: a reader that is kept would go on saying them in one language.
        reader = SubmissionSerializer(data=filled)
        reader.is_valid()
        raise InvalidSubmission(
            _problems(reader.errors, (), filled), _readable(filled, reader.errors)
        ) from None


class _Readers(threading.local):
    """A reader for each thread: making one takes longer than reading a submission."""

    def __init__(self) -> None:
        self.kept = SubmissionSerializer()


_readers = _Readers()


def _readable(filled: Any, errors: Any) -> Submission | None:
    """What is left without what cannot be read: a row goes whole, and today stands in for the day."""
    # Whether the visit was made decides what everything else means.
    if not isinstance(filled, Mapping) or "was_made" in errors:
        return None
    kept = {key: _rest(value, errors.get(key)) for key, value in filled.items()}
    # Its three parts say nothing without one another.
    if any(name in errors for name in POSITION_FIELDS):
        kept |= dict.fromkeys(POSITION_FIELDS)
    day = kept.get("visited_on") or timezone.localdate().isoformat()
    reader = SubmissionSerializer(data=without_blanks(kept | {"visited_on": day}))
    return _build(dict(reader.validated_data)) if reader.is_valid() else None


def _rest(value: Any, wrong: Any) -> Any:
    if not wrong:
        return value
    if not isinstance(wrong, Mapping):
        return None
    if isinstance(value, list):
        return [row for place, row in enumerate(value) if place not in wrong]
    return {key: row for key, row in value.items() if key not in wrong} if isinstance(value, Mapping) else None


def without_blanks(data: Any) -> Any:
    """Leave out what was not filled in: blank fields, and rows that hold nothing but their own name."""
    if not isinstance(data, Mapping):
        return data
    filled = _filled(data)
    filled["spots"] = _rows(filled.get("spots"), {"number", "flow_type", "timed"})
    filled["counts"] = _rows(filled.get("counts"), {"taxon", "recorded_as", "whole_tray"})
    filled["measurements"] = _measurements(filled.get("measurements"))
    return {key: value for key, value in filled.items() if value not in (None, [], {})}


def _filled(row: Mapping[str, Any]) -> dict[str, Any]:
    return {str(key): value for key, value in row.items() if not _is_blank(value)}


def _is_blank(value: Any) -> bool:
    return value is None or (isinstance(value, str) and not value.strip())


def _rows(rows: Any, names: set[str]) -> Any:
    if not isinstance(rows, list | tuple):
        return rows
    kept = [_filled(row) if isinstance(row, Mapping) else row for row in rows]
    return [row for row in kept if not isinstance(row, dict) or _says_more(row, names)]


def _says_more(row: Mapping[str, Any], names: set[str]) -> bool:
    # A find of the key whose number was forgotten is asked about; the mark's absence says nothing.
    return any(key not in names and not (key == "by_key" and row[key] is False) for key in row)


def _measurements(readings: Any) -> Any:
    if not isinstance(readings, Mapping):
        return readings
    rows = {key: _filled(row) if isinstance(row, Mapping) else row for key, row in readings.items()}
    return {key: row for key, row in rows.items() if not isinstance(row, dict) or "value" in row}


def _problems(detail: Any, path: tuple[str | int, ...], data: Any) -> Iterator[Problem]:
    """Walk the serializer's errors, which mirror the data's own nesting."""
    if isinstance(detail, Mapping):
        for key, inner in detail.items():
            yield from _problems(inner, (*path, key), data)
    elif isinstance(detail, list) and any(isinstance(each, Mapping | list) for each in detail):
        for index, inner in enumerate(detail):
            yield from _problems(inner, (*path, index), data)
    elif isinstance(detail, list):
        # One message a field: the first says what to do, the others mostly follow from it.
        yield from (_problem(each, path, data) for each in detail[:1])


def _problem(error: Any, path: tuple[str | int, ...], data: Any) -> Problem:
    return Problem(_field(path, data), str(error), _RULES.get(error.code, "unreadable"))


def _field(path: tuple[str | int, ...], data: Any) -> str:
    """The field path people and forms use: spots by number, counts by name, measurements by quantity."""
    # Forms and spreadsheets know spots and taxa by name; places in a list mean nothing there.
    steps = [step for step in path if step != "non_field_errors"]
    if len(steps) < 2 or steps[0] not in _NESTED:
        return str(steps[0]) if steps else "submission"
    part, key = str(steps[0]), steps[1]
    tail = [str(step) for step in steps[2:]] if part == "spots" else []
    shown = "whole_tray" if part == "counts" and _is_of_whole_tray(data[part][int(key)]) else part
    return ".".join([shown, _row_name(part, key, data), *tail])


def _is_of_whole_tray(row: Any) -> bool:
    return isinstance(row, Mapping) and row.get("whole_tray") is True


def _row_name(part: str, key: str | int, data: Any) -> str:
    if part == "measurements":
        return str(key)
    row = data[part][int(key)]
    if not isinstance(row, Mapping):
        return str(int(key) + 1)
    written = row.get("number") if part == "spots" else row.get("recorded_as") or row.get("taxon")
    return str(written or int(key) + 1)


def _build(values: dict[str, Any]) -> Submission:
    nested = {part: values.pop(part, None) or () for part in _NESTED}
    return Submission(
        **values,
        spots=tuple(sorted((Spot(**row) for row in nested["spots"]), key=lambda spot: spot.number)),
        measurements=tuple(Reading(key, **row) for key, row in dict(nested["measurements"]).items()),
        counts=tuple(_entry(row) for row in nested["counts"]),
    )


def _entry(row: Mapping[str, Any]) -> Entry:
    # A count that agrees with its range is the better knowledge of the two, and either is better than presence.
    count = row.get("count")
    low, high = (None, None) if count is not None else row.get("range", (None, None))
    return Entry(row["taxon"], row["recorded_as"], count, low, high, row["whole_tray"], row["by_key"])
