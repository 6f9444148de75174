"""The volunteers' work: people, kicking time, hours at the river."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from portal.reports.figures.records import YearRecords
from surveys.models import Visit


def describe_effort(records: YearRecords) -> dict[str, Any]:
    """How many took part and for how long; names only of those who agreed to be named."""
    people = {user for visit in records.made for user in _accounts(visit)}
    guests = {name for visit in records.made for name in _guests(visit)}
    spots = [spot for visit in records.made for spot in visit.spots.all()]
    return {
        "volunteers": len(people) + len(guests),
        "names": _agreed_names(records, people),
        "visits": len(records.made),
        "spots": len(spots),
        "kicks": sum(spot.kicks for spot in spots),
        "kicking_minutes": round(float(sum(spot.seconds for spot in spots)) / 60),
        "person_hours": round(sum(_person_hours(visit) for visit in records.made)),
        "other_hours": round(records.other_hours),
        "visits_without_times": sum(_hours(visit) is None for visit in records.made),
    }


def _accounts(visit: Visit) -> set[UUID]:
    return {each for each in (visit.recorder_id, visit.partner_id) if each}


def _guests(visit: Visit) -> Iterable[str]:
    """Names of those who took part without an account; told apart by name alone, for want of anything else."""
    pairs = ((visit.recorder_id, visit.recorder_name), (visit.partner_id, visit.partner_name))
    return (name.strip().casefold() for account, name in pairs if not account and name.strip())


def _agreed_names(records: YearRecords, people: set[UUID]) -> list[str]:
    return sorted(each.user.name for each in records.members if each.show_name and each.user_id in people)


def _person_hours(visit: Visit) -> float:
    people = len(_accounts(visit)) + len(list(_guests(visit)))
    return (_hours(visit) or 0.0) * people


def _hours(visit: Visit) -> float | None:
    """Hours from start to end; None where either was not noted."""
    if visit.started_at is None or visit.ended_at is None:
        return None
    day = visit.visited_on
    spent = datetime.combine(day, visit.ended_at) - datetime.combine(day, visit.started_at)
    return spent.total_seconds() / 3600
