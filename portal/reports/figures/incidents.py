"""The year's incidents: how long the answer took and how each ended, false alarms included."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from statistics import median
from typing import Any

from django.utils import timezone

from alerts.models import Incident, IncidentState, Outcome
from portal.reports.figures.records import YearRecords

# Outcomes that say there was nothing wrong with the river.
FALSE_ALARMS = frozenset({Outcome.METHOD_ERROR, Outcome.NOT_CONFIRMED})


def describe_incidents(records: YearRecords) -> dict[str, Any]:
    """The incidents opened in the year, with the typical time to an acknowledgement."""
    rows = [_describe(incident) for incident in records.incidents]
    waits = [row["hours_to_acknowledge"] for row in rows if row["hours_to_acknowledge"] is not None]
    return {
        "rows": rows,
        "acknowledged": len(waits),
        "median_hours": round(median(waits), 1) if waits else None,
        "false_alarms": sum(_was_false(incident) for incident in records.incidents),
        "still_live": sum(incident.is_live for incident in records.incidents),
    }


def _describe(incident: Incident) -> dict[str, Any]:
    return {
        "reference": incident.reference,
        "site": incident.site.code,
        "site_name": incident.site.name,
        "opened_at": timezone.localtime(incident.opened_at).isoformat(),
        "visits": [visit.visited_on.isoformat() for visit in _by_date(incident)],
        "hours_to_acknowledge": _hours(incident.opened_at, incident.acknowledged_at),
        "state": incident.get_state_display(),
        "outcome": incident.get_outcome_display() if incident.outcome else "",
        "closed_at": timezone.localtime(incident.closed_at).isoformat() if incident.closed_at else None,
        "agency_reference": incident.agency_reference,
    }


def _by_date(incident: Incident) -> Sequence[Any]:
    return sorted(incident.visits.all(), key=lambda visit: visit.visited_on)


def _hours(start: datetime, end: datetime | None) -> float | None:
    return None if end is None else round((end - start).total_seconds() / 3600, 1)


def _was_false(incident: Incident) -> bool:
    return incident.state == IncidentState.WITHDRAWN or incident.outcome in FALSE_ALARMS
