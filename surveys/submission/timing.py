"""The kicks that a phone timed: read leniently, since nobody sees this log and nobody could mend it.

A log is a list of {"started_at", "seconds"} in the order of the kicks, or the same as JSON text, as pages
post it. What cannot be read is left out and told of as a finding: it never stops a visit.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils.dateparse import parse_datetime
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from surveys.submission.numbers import plain_text
from surveys.submission.types import Timed

# Three digits are what the database keeps before the point; the longest plan is a kick of 240 s.
LONGEST = Decimal(999)
MOST_KICKS = 100
_MILLISECOND = Decimal("0.001")


class TimedKickSerializer(serializers.Serializer[Any]):
    """One kick as a phone timed it."""

    started_at = serializers.DateTimeField(help_text="With its offset from UTC.")
    seconds = serializers.DecimalField(max_digits=6, decimal_places=3, help_text="From start to stop, s.")


@extend_schema_field(TimedKickSerializer(many=True))
class TimedKicks(serializers.Field[Any, Any, Any, Any]):
    """Reads a log into its kicks, and whether anything in it could not be read."""

    def to_internal_value(self, data: Any) -> tuple[tuple[Timed, ...], bool]:
        return read_log(data)

    def to_representation(self, value: Any) -> Any:
        return value


def read_log(log: Any) -> tuple[tuple[Timed, ...], bool]:
    """The kicks that can be read, in order, and whether there is anything else in the log."""
    rows = _rows(log)
    if rows is None:
        return (), True
    kicks = [_kick(row) for row in rows[:MOST_KICKS] if not _is_unfinished(row)]
    return tuple(kick for kick in kicks if kick), None in kicks or len(rows) > MOST_KICKS


def _rows(log: Any) -> list[Any] | None:
    if not isinstance(log, str):
        return log if isinstance(log, list) else None
    try:
        rows = json.loads(log)
    # A hostile depth of brackets ends in a RecursionError.
    except (ValueError, RecursionError):
        return None
    return rows if isinstance(rows, list) else None


def _is_unfinished(row: Any) -> bool:
    # The timer notes that a kick began; one that the phone never saw the end of has no time at all.
    return isinstance(row, Mapping) and bool(row.get("started_at")) and row.get("seconds", "") in ("", None)


def _kick(row: Any) -> Timed | None:
    if not isinstance(row, Mapping):
        return None
    started_at, seconds = _moment(row.get("started_at")), _seconds(row.get("seconds"))
    return Timed(started_at, seconds) if started_at and seconds else None


def _moment(text: Any) -> datetime | None:
    try:
        moment = parse_datetime(text) if isinstance(text, str) else None
        # Without an offset nobody knows which hour it was.
        if moment is None or moment.utcoffset() is None:
            return None
        plain = moment.astimezone(UTC)
    # Year 1 with an offset lies before the first moment there is.
    except (ValueError, OverflowError):
        return None
    return plain.replace(microsecond=plain.microsecond // 1000 * 1000)


def _seconds(value: Any) -> Decimal | None:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return None
    try:
        seconds = Decimal(str(value))
        return seconds.quantize(_MILLISECOND) if _MILLISECOND <= seconds <= LONGEST else None
    except InvalidOperation:
        return None


def timed_data(kicks: Iterable[Timed]) -> list[dict[str, str]]:
    """The kicks as plain data: `read_log` reads them back to the same."""
    return [{"started_at": _written(kick.started_at), "seconds": plain_text(kick.seconds)} for kick in kicks]


def timed_text(kicks: Iterable[Timed]) -> str:
    """The kicks in one line, for the audit trail: no two logs give the same."""
    return "; ".join(_line(kick) for kick in kicks)


def _line(kick: Timed) -> str:
    return f"{_written(kick.started_at)} {plain_text(kick.seconds)} s"


def _written(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def log_text(log: Any) -> str:
    """What the form's field holds: a log as JSON text, and text as it is."""
    return log if isinstance(log, str) else json.dumps(log)
